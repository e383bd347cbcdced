"""A works' own judge of marks: taught by people's labels, held against labels that it did not see and against suites.

Nothing is learned by itself: what comes of it is a draft, or a refusal that says why.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.statistics import Estimate, PairedCounts, difference_paired, wilson
from vision.face import LINE_FEATURES, SPOTS, Feature, Lesson, mark_chances, taught
from vision.records import LIKELY, JudgeSuite, MarkJudge, MarkModel

LEAST_LABELS, LEAST_OF_EACH = 100, 20
"""So few labels, and so few of each kind, teach nothing."""

_HELD_BACK = 1 / 3
# Of all marks of the suites, that many may be lost: what was asked of teaching.
_MOST_LOST = 0.01

ModelName = Literal["lines", "spots"]


@dataclass(frozen=True, slots=True, eq=False)
class LabelledMark:
    """A finding that a person called a mark (`real`) or none.

    `taken_at` of its shot, ISO 8601; `probability` as it was judged then; `share` the chance with which it was shown;
    `model` that judges such, by its `features` (n,), read from the frames again; `picture` a JPEG as base64 text.
    """

    tray: str
    piece: int
    taken_at: str | None
    kind: str
    real: bool
    inspector: str
    probability: float
    share: float
    model: ModelName
    features: NDArray[np.float64]
    picture: str = ""


@dataclass(frozen=True, slots=True)
class Compared:
    """A judge before and after on one set: `found`, the share of marks told as such; `false`, the share of what is none
    that is told as a mark; the changes with their intervals; the mean chance `told` before and after, and the share
    that is `real`; whether it is of labels `held_back`.
    """

    what: str
    marks: int
    none: int
    found: tuple[Estimate, Estimate]
    false: tuple[Estimate, Estimate]
    found_change: Estimate
    false_change: Estimate
    told: tuple[float, float]
    real: float
    held_back: bool = False

    @property
    def words(self) -> str:
        """Found and told falsely, before and after, as a line."""
        found, false = (" -> ".join(_percent(one.value) for one in pair) for pair in (self.found, self.false))
        return f"{self.what}: found {found} of {self.marks}, told falsely {false} of {self.none}"

    @property
    def loses(self) -> str:
        """What is surely lost, in words; empty where nothing is."""
        if self.found_change.ci is not None and self.found_change.ci[1] < 0.0:
            return f"{self.what}: fewer marks would be found"
        if self.false_change.ci is not None and self.false_change.ci[0] > 0.0:
            return f"{self.what}: more would be told falsely"
        return ""


def _percent(value: float | None) -> str:
    return "none" if value is None else f"{100 * value:.1f} %"


@dataclass(frozen=True, slots=True, eq=False)
class Teaching:
    """What came of teaching: `draft`, None where `refused` says why; the comparisons, held-back labels first; `lost`:
    labelled marks, of all `labels`, that the judge before told and the draft would not; `gone`: what is none, likewise.
    """

    draft: MarkJudge | None
    refused: str
    compared: tuple[Compared, ...]
    lost: tuple[LabelledMark, ...]
    gone: tuple[LabelledMark, ...]
    labels: int = 0

    @property
    def words(self) -> tuple[str, ...]:
        """Each comparison as a line."""
        return tuple(one.words for one in self.compared)


def teach(judge: MarkJudge, marks: Sequence[LabelledMark], suites: Sequence[JudgeSuite]) -> Teaching:
    """Teach a judge by labels.

    A third of the pieces, those photographed last, is held back. A model is taught where the rest has at least 20
    labels of marks and of what is none for it.

    Parameters
    ----------
    judge
        The judge before.
    marks
        Labels with features.
    suites
        Candidates never used for fitting, whose truth is known.

    Returns
    -------
    Teaching
        A draft or a refusal, and what both do.
    """
    real = sum(one.real for one in marks)
    if len(marks) < LEAST_LABELS or min(real, len(marks) - real) < LEAST_OF_EACH:
        needed = f"{LEAST_LABELS} labels are needed, {LEAST_OF_EACH} of marks and of none at least"
        return Teaching(
            None, f"{needed}; there are {real} of marks and {len(marks) - real} of none", (), (), (), len(marks)
        )
    pieces = sorted({_piece(one) for one in marks})
    newest = set(pieces[round(len(pieces) * (1 - _HELD_BACK)) :])
    learning = [one for one in marks if _piece(one) not in newest]
    lines = _taught(judge.lines, [one for one in learning if one.model == "lines"], LINE_FEATURES)
    spots = _taught(judge.spots, [one for one in learning if one.model == "spots"], SPOTS)
    after = replace(judge, lines=lines, spots=spots)
    held = [one for one in marks if _piece(one) in newest]
    compared = (*_on_labels(judge, after, held), *on_suites(judge, after, suites))
    told = [(one, _chance(judge, one) >= LIKELY, _chance(after, one) >= LIKELY) for one in marks]
    lost = tuple(one for one, before, now in told if one.real and before and not now)
    gone = tuple(one for one, before, now in told if not one.real and before and not now)
    refused = _why_refused(judge, after, held, compared)
    return Teaching(None if refused else after, refused, compared, lost, gone, len(marks))


def _taught(model: MarkModel, marks: list[LabelledMark], names: Sequence[Feature]) -> MarkModel:
    """A model as labels have it; as it was where there are too few of a kind."""
    real = sum(one.real for one in marks)
    if min(real, len(marks) - real) < LEAST_OF_EACH:
        return model
    number = {piece: k for k, piece in enumerate(sorted({_piece(one) for one in marks}))}
    lesson = Lesson(
        np.array([one.features for one in marks]),
        np.array([one.real for one in marks], np.int8),
        np.array([1.0 / one.share for one in marks]),
        np.array([number[_piece(one)] for one in marks]),
    )
    return taught(model, lesson, names)


def _why_refused(judge: MarkJudge, after: MarkJudge, held: list[LabelledMark], compared: tuple[Compared, ...]) -> str:
    if after == judge:
        return f"nothing was learned: each kind needs {LEAST_OF_EACH} labels of marks and of none, and a fit that helps"
    lost = lost_on(compared)
    if lost:
        return lost
    if _surprise(after, held) >= _surprise(judge, held):
        return "on the labels held back the judge before does as well"
    return ""


def lost_on(compared: Sequence[Compared]) -> str:
    """What is lost too much of, in words; empty where nothing is."""
    losses = [one.loses for one in compared if one.loses]
    if losses:
        return "; ".join(losses)
    suites = [one for one in compared if not one.held_back]
    lost = sum(one.marks * -(one.found_change.value or 0.0) for one in suites)
    if lost > _MOST_LOST * sum(one.marks for one in suites):
        return f"{lost:.0f} marks of the suites that come with the program would be lost, more than one in a hundred"
    return ""


def _piece(one: LabelledMark) -> tuple[str, str, int]:
    return (one.taken_at or "", one.tray, one.piece)


def _chance(judge: MarkJudge, one: LabelledMark) -> float:
    return float(_chances(judge, one.model, one.features[None])[0])


def _chances(judge: MarkJudge, model: ModelName, features: NDArray[np.float64]) -> NDArray[np.float64]:
    none = np.zeros((0, len(SPOTS if model == "lines" else LINE_FEATURES)))
    told = mark_chances(judge, features if model == "lines" else none, features if model == "spots" else none)
    return told.lines if model == "lines" else told.spots


def _surprise(judge: MarkJudge, marks: Sequence[LabelledMark]) -> float:
    """Mean squared distance of the chances told from what people say, weighted as shown (Brier 1950)."""
    weights = np.array([1.0 / one.share for one in marks])
    off = np.array([(_chance(judge, one) - one.real) ** 2 for one in marks])
    return float(np.average(off, weights=weights)) if len(marks) else 0.0


_TITLES: dict[ModelName, str] = {"lines": "scratches", "spots": "pits"}


def _on_labels(judge: MarkJudge, after: MarkJudge, held: list[LabelledMark]) -> list[Compared]:
    out = []
    for model, title in _TITLES.items():
        these = [one for one in held if one.model == model]
        if these:
            features, real = np.array([one.features for one in these]), np.array([one.real for one in these])
            pair = (_chances(judge, model, features), _chances(after, model, features))
            out.append(replace(_compared(f"{title}, labels held back", *pair, real), held_back=True))
    return out


def on_suites(judge: MarkJudge, after: MarkJudge, suites: Sequence[JudgeSuite]) -> list[Compared]:
    """Two judges on suites."""
    return [
        _compared(
            f"{_TITLES[one.model]}, {one.name}",
            _chances(judge, one.model, one.features),
            _chances(after, one.model, one.features),
            one.real,
        )
        for one in suites
    ]


def _compared(what: str, before: NDArray[np.float64], after: NDArray[np.float64], real: NDArray[np.bool_]) -> Compared:
    was, now = before >= LIKELY, after >= LIKELY

    def paired(use: NDArray[np.bool_]) -> tuple[tuple[Estimate, Estimate], Estimate]:
        both, gained, lost = (int((a & b & use).sum()) for a, b in ((was, now), (~was, now), (was, ~now)))
        total = int(use.sum())
        counts = PairedCounts(both, gained, lost, total - both - gained - lost)
        return (wilson(both + lost, total), wilson(both + gained, total)), difference_paired(counts)

    (found, found_change), (false, false_change) = paired(real), paired(~real)
    told = (float(before.mean()), float(after.mean()))
    return Compared(
        what,
        int(real.sum()),
        int((~real).sum()),
        found,
        false,
        found_change,
        false_change,
        told,
        float(real.mean()),
    )
