"""What is said of a piece in the viewer: reasons and findings in words, worst first, each with its place to go to."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from app.report import (
    FAULTS,
    measure_words,
    number_words,
    reason_words,
    sure_words,
    unseen_words,
    with_because,
)
from vision.decide import MEASURES, not_measured_then, quantile, rejudge, told_findings
from vision.records import (
    BendFinding,
    EdgeFinding,
    Finding,
    JudgedPiece,
    Limit,
    Limits,
    Mark,
    Opening,
    Pair,
    Part,
    Pit,
    Reason,
    Scratch,
    Speck,
    Stain,
    Stray,
)

NEAR_END = 0.08  # of the length: a place this near the outline's end is at its tip
COVERAGE_UNKNOWN = 0.95  # the coverage that limits mostly have, for a judgement whose limits were not filed


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list: its words, its tag in the picture, its points in px of the frame, and what it means.

    `index`: of the finding among the piece's.
    """

    index: int
    words: str
    tag: str
    points_px: tuple[Pair, ...]
    weight: float
    outcome: str


def with_causes(judged: JudgedPiece, limits: Limits | None) -> JudgedPiece:
    """A piece whose reasons name what they rest on: those of older results are looked up by judging again."""
    if limits is None or any(one.findings or one.place_mm for one in judged.reasons):
        return judged
    again = {(one.measure, one.zone): one for one in rejudge(judged, limits).reasons}
    named = [(one, again.get((one.measure, one.zone), one)) for one in judged.reasons]
    return replace(
        judged,
        reasons=tuple(replace(one, findings=now.findings, place_mm=now.place_mm) for one, now in named),
    )


def fault_messages(judged: JudgedPiece, limits: Limits | None) -> list[str]:
    """Why a piece could not be measured properly, and what nobody measured when it was filed."""
    fault = [] if judged.fault is None else [FAULTS.get(judged.fault, judged.fault)]
    absent = () if limits is None else not_measured_then(judged, limits)
    names = ", ".join(measure_words(name).title for name in absent)
    return [*fault, *([f"not measured then: {names}"] if names else [])]


def reason_messages(judged: JudgedPiece, limits: Limits | None) -> list[tuple[str, str]]:
    """Every limit that is not passed, worst first: its outcome and its words."""
    coverage = COVERAGE_UNKNOWN if limits is None else limits.coverage
    return [
        (one.outcome, reason_words(one, _guard(one.uncertainty, coverage)) + unseen_words(one, judged.measures))
        for one in judged.reasons
    ]


def finding_messages(judged: JudgedPiece, limits: Limits | None, part: Part | None) -> list[Line]:
    """Every finding, worst first: what reasons rest on, in their order, then by share of the limit, then the rest."""
    order = list(dict.fromkeys(index for one in judged.reasons for index in one.findings))
    lines = {index: _line(index, judged, limits, part) for index in {*order, *told_findings(judged)}}
    named = [lines[index] for index in order]
    others = [line for line in lines.values() if line.index not in order]
    return [*named, *sorted(others, key=lambda one: -one.weight)]


def _line(index: int, judged: JudgedPiece, limits: Limits | None, part: Part | None) -> Line:
    finding = judged.findings[index]
    counted = judged.counted[index] or not isinstance(finding, Scratch | Pit | Speck)
    driven = _driven_by(finding)
    measure, value = driven.measure, driven.value
    bound = _bound(driven, judged, limits) if counted else None
    words = with_because(finding)
    where = _where(finding.center_mm, finding.zone, part) if isinstance(finding, EdgeFinding) else ""
    uncertainty = _of(judged.uncertainties, measure, driven.zone)
    if where:
        words += f"; {where}"
    if not counted:
        words += "; not counted"
    if bound is not None:
        words += f"; limit {number_words(measure, bound)}"
        guard = _guard(uncertainty, COVERAGE_UNKNOWN if limits is None else limits.coverage)
        words += "" if guard is None else f"; sure to {number_words(measure, guard)}"
    share = 0.0 if not bound else abs(value / bound)
    outcome = next((one.outcome for one in judged.reasons if index in one.findings), "")
    return Line(index, words, finding.kind, _points(finding), share + min(abs(value), 99.0) * 1e-4, outcome)


@dataclass(frozen=True, slots=True)
class _Driven:
    """The measure that a finding drives, its zone, and the finding's own value of it."""

    measure: str
    zone: str
    value: float


def _driven_by(finding: Finding) -> _Driven:
    match finding:
        case EdgeFinding():
            name = "outline_out_mm" if finding.deviation_mm > 0 else "outline_in_mm"
            return _Driven(name, finding.zone, abs(finding.deviation_mm))
        case BendFinding():
            return _Driven("bend_deg", "", finding.bend_deg)
        case Scratch():
            return _Driven("scratch_longest_mm", "", finding.length_mm)
        case Pit() | Speck():
            return _Driven("pit_largest_mm", "", finding.diameter_mm)
        case Opening():
            return _Driven("opening_area_mm2", "", finding.area_mm2)
        case Stray():
            if finding.joins:
                return _Driven("outline_out_mm", finding.zone, finding.reach_mm)
            return _Driven("outline_unseen_mm", finding.zone, finding.extent_mm)
        case Mark():
            return _Driven("mark_area_mm2", "", finding.area_mm2)
        case Stain():
            return _Driven("stain_area_mm2", "", finding.area_mm2)


def _bound(driven: _Driven, judged: JudgedPiece, limits: Limits | None) -> float | None:
    """The limit on the side of the value, from the limits or, where they were not filed, from a reason."""
    known: list[Limit] | list[Reason] = (
        [one for one in judged.reasons if one.measure == driven.measure] if limits is None else
        [one for one in limits.limits if one.measure == driven.measure]
    )  # fmt: skip
    for one in known:
        if one.zone is None or one.zone == driven.zone:
            bound = one.min if driven.value < 0 and one.min is not None else one.max
            if bound is not None:
                return bound
    return None


def _of(values: Mapping[str, object], measure: str, zone: str) -> float | None:
    found = values.get(measure)
    one = found.get(zone) if isinstance(found, Mapping) else found
    return one if isinstance(one, float) else None


def _guard(uncertainty: float | None, coverage: float) -> float | None:
    return None if uncertainty is None else quantile(coverage) * uncertainty


def _points(finding: Finding) -> tuple[Pair, ...]:
    match finding:
        case Scratch():
            return finding.points_px
        case BendFinding():
            return ()
        case Mark() | Stain():
            return (*finding.outline_px, *finding.outline_px[:1])
        case _:
            return (finding.center_px,)


def short_words(reason: Reason, limits: Limits | None, where: str) -> str:
    """A reason in the words that stand at its place: the value and where, the limit, how sure.

    Examples
    --------
    >>> reason = Reason("outline_out_mm", "handle", 0.26, 0.001, None, 0.15, "major", "reject")
    >>> short_words(reason, None, "at the handle's tip")
    "0.260 mm at the handle's tip, limit 0.150 mm, sure to 0.002 mm"
    """
    words = measure_words(reason.measure)
    value = number_words(reason.measure, reason.value)
    known = MEASURES.get(reason.measure)
    if reason.value is None or known is None or known.station_part != "deviation":
        value = f"{words.title} {value}"
    bounds = [number_words(reason.measure, bound) for bound in (reason.min, reason.max) if bound is not None]
    said = [" ".join(filter(None, [value, where])), f"limit {' to '.join(bounds)}"]
    guard = _guard(reason.uncertainty, COVERAGE_UNKNOWN if limits is None else limits.coverage)
    if reason.value is not None and guard is not None:
        said.append(sure_words(reason.measure, guard))
    return ", ".join(said)


def where_on(finding: Finding | None, reason: Reason, part: Part | None) -> str:
    """Where on the piece a reason is, as a person at the bench would say it."""
    if isinstance(finding, EdgeFinding | Stray):
        return _where(finding.center_mm, finding.zone, part)
    if finding is None and len(reason.place_mm) == 1 and reason.zone:
        return _where(reason.place_mm[0], reason.zone, part)
    return f"on the {reason.zone}" if reason.zone else ""


def _where(place_mm: Pair, zone: str, part: Part | None) -> str:
    """Where a place of the outline is, of a zone."""
    if part is None:
        return ""
    low, high = part.outline.min(axis=0), part.outline.max(axis=0)
    along = (place_mm[0] - float(low[0])) / float(high[0] - low[0])
    if along < NEAR_END or along > 1.0 - NEAR_END:
        return f"at the {zone}'s tip"
    middle = float(low[1] + high[1]) / 2
    return "on the upper edge" if place_mm[1] > middle else "on the lower edge"
