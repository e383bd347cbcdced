"""The report of what a station can see: curves of detection, and marks planted, found and missed."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from app.report.charts import Axis, Entry, Frame, band as shaded, chart, dots, legend, level, line, whiskers
from app.report.mark_crops import mark_picture
from app.report.study_page import render
from app.report.style import ACCENT, MUTED
from app.run import Planted, Sown
from app.statistics import FEWEST_PIECES
from app.studies import PLAIN, Curve, PodStudy, figure

SIZE_WORDS = {"scratch": "length, mm", "pit": "diameter, mm"}
UNFIT = 0.05  # chance of the hits below which a curve is said not to fit
SHOWN = 4  # examples of each sort
DIFFER = 0.5  # standard deviation of pieces' log odds from which it is said


@dataclass(frozen=True, slots=True)
class Example:
    """A planted mark as the low light that shows it best sees it."""

    words: str
    picture: str


def axis_words(curve: Curve) -> str:
    """What the curve is drawn against, in words.

    Parameters
    ----------
    curve
        Of one kind of mark.

    Returns
    -------
    str
        A few words.
    """
    if curve.against == "contrast":
        return "contrast under a low light"
    return f"{SIZE_WORDS[curve.kind]}, of contrast {PLAIN:g} and more"


def pod_chart(curve: Curve) -> str:
    """Shares found with their intervals, and the fitted curve with its lower 95 % bound, on a scale by tens."""
    x = np.log10(curve.abscissa)
    frame = Frame(
        Axis(float(x.min()) - 0.03, float(x.max()) + 0.03, f"{axis_words(curve)}, as a power of ten"),
        Axis(-0.02, 1.04, f"share of {curve.kind}{'es' if curve.kind == 'scratch' else 's'} found"),
    )
    marks, sure = [level(frame, 0.9, "0.9", colour=MUTED)], False
    if curve.fitted is not None:
        dense = np.geomspace(curve.abscissa.min(), curve.abscissa.max(), 80)
        chance, lower = curve.fitted.chance(dense), curve.fitted.lower(dense)
        if sure := bool(lower.any()):
            marks.append(shaded(frame, np.log10(dense), lower, chance))
            marks.append(line(frame, np.log10(dense), lower, dash="8 4", colour=ACCENT))
        marks.append(line(frame, np.log10(dense), chance, colour=ACCENT))
    for one in curve.observed():
        if one.share.value is not None and one.share.ci is not None:
            marks.append(whiskers(frame, float(np.log10(one.place)), *one.share.ci))
            marks.append(dots(frame, np.array([np.log10(one.place)]), np.array([one.share.value])))
    entries = [Entry("found, with 95 % interval", "disc")]
    if curve.fitted is not None:
        entries.append(Entry("fitted", colour=ACCENT))
    if sure:
        entries.append(Entry("95 % sure of at least", dash="8 4", colour=ACCENT))
    return chart(frame, [*marks, legend(frame, entries)], f"Detection of {curve.kind}es against {axis_words(curve)}")


def curve_words(curve: Curve) -> str:
    """What the curve says, in a line.

    Parameters
    ----------
    curve
        Of one kind of mark.

    Returns
    -------
    str
        A line.
    """
    if curve.fitted is None:
        return f"No curve: {curve.why}"
    fitted, most = curve.fitted, float(curve.abscissa.max())
    said = []
    if fitted.curve.between > DIFFER:
        said.append(f"pieces differ by {fitted.curve.between:.1f} of log odds")
    if fitted.curve.ceiling < 1.0:
        said.append(f"detection levels off at {fitted.curve.ceiling:.2f}")
    if fitted.a90 is None:
        said.append("of no size are nine in ten found")
    else:
        said.append(f"nine in ten are found from {fitted.a90:.3g} on{_beyond(fitted.a90, most)}")
        said.append(_sure_words(fitted.a90_95, fitted.data.pieces, most))
    if fitted.fit_p is not None and fitted.fit_p < UNFIT:
        said.append(f"hits and misses do not follow the curve (p = {fitted.fit_p:.3f}): don't rely on its sizes")
    return ", ".join(said)


def _sure_words(bound: float | None, pieces: int | None, most: float) -> str:
    """From where one is 95 % sure of it, or why from nowhere."""
    if bound is not None:
        return f"with 95 % confidence from {bound:.3g} on{_beyond(bound, most)}"
    if pieces is not None and pieces < FEWEST_PIECES:
        return f"of no size can one be 95 % sure: {pieces} pieces don't tell how pieces differ, plant into more"
    return "of no size can one be 95 % sure: the marks leave open that detection levels off at nine in ten"


def _beyond(size: float, most: float) -> str:
    return " (beyond what was planted)" if size > most else ""


def examples(sown: Sequence[Sown]) -> list[Example]:
    """Some marks near the limit of what is seen: found and missed, of both kinds.

    Parameters
    ----------
    sown
        Pieces with planted marks.

    Returns
    -------
    list[Example]
        Pictures as data, with words.
    """
    chosen: list[Example] = []
    for kind in ("scratch", "pit"):
        for found in (True, False):
            marks = [(one, mark) for one in sown for mark in one.marks if mark.kind == kind and mark.found == found]
            marks.sort(key=lambda pair: pair[1].contrast, reverse=not found)
            chosen += [_example(one, mark) for one, mark in marks[:SHOWN]]
    return chosen


def _example(sown: Sown, mark: Planted) -> Example:
    at_px = sown.inputs.to_px(np.asarray(mark.points_mm)).mean(axis=0)
    name = "length" if mark.kind == "scratch" else "diameter"
    became = "found" if mark.found else "missed"
    words = f"{mark.kind}, contrast {mark.contrast:.2f}, {name} {mark.size_mm:.2f} mm: {became}"
    return Example(words, mark_picture(sown.inputs.pictures, at_px))


def pod_page(study: PodStudy, shown: Sequence[Example], about: str) -> str:
    """The report as HTML that stands alone.

    Parameters
    ----------
    study
        What the study found.
    shown
        Pictures of marks found and missed.
    about
        Of what part, station and shots.

    Returns
    -------
    str
        HTML.
    """
    blocks = [(curve, axis_words(curve), pod_chart(curve), curve_words(curve)) for curve in study.curves]
    return render("pod.html", {"study": study, "blocks": blocks, "examples": shown, "about": about})


def pod_table(study: PodStudy) -> dict[str, Any]:
    """`pod.json`.

    Parameters
    ----------
    study
        What the study found.

    Returns
    -------
    dict[str, Any]
        The table, ready for `json_text`.
    """
    return {
        "format": 1,
        "pieces": study.pieces,
        "planted": study.planted,
        "false_findings_a_piece": study.false_a_piece,
        "curves": [
            {
                "kind": curve.kind,
                "against": curve.against,
                "marks": len(curve.abscissa),
                "found": int(curve.found.sum()),
                "range": [float(curve.abscissa.min()), float(curve.abscissa.max())] if len(curve.abscissa) else None,
                "a50": None if curve.fitted is None else curve.fitted.a50,
                "a90": None if curve.fitted is None else curve.fitted.a90,
                "a90_95": None if curve.fitted is None else curve.fitted.a90_95,
                "ceiling": None if curve.fitted is None else curve.fitted.curve.ceiling,
                "pieces_differ_by": None if curve.fitted is None else curve.fitted.curve.between,
                "fit_p": None if curve.fitted is None else curve.fitted.fit_p,
                "not_fitted": curve.why or None,
                "observed": [
                    {"at": one.place, "marks": one.marks, "share": figure(one.share)} for one in curve.observed()
                ],
            }
            for curve in study.curves
        ],
    }
