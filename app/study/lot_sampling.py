"""Accepting lots by samples of them: the plan of each lot in a series, as ISO 2859-1's switching rules have it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from app.study.lot_figures import Fate
from app.study.sampling import Level, Plan, Severity, quality_at, single_plan
from app.study.switching import Course, after_lot

Outcome = Literal["accepted", "not accepted", "sample too small", "undecided", "stopped"]
BAD: tuple[Fate, ...] = ("rejected", "sorted out")


@dataclass(frozen=True, slots=True)
class SampledLot:
    """A lot of `size` pieces and what became of those photographed, in order of time."""

    lot: str
    size: int
    fates: tuple[Fate, ...]


@dataclass(frozen=True, slots=True)
class Acceptance:
    """One lot's inspection by sample.

    `inspected`, `bad`: of the plan's sample, which is the first pieces photographed. `undecided`: pieces of the sample
    still wait for review, and what they are would tell. `course` is where the series stands after this lot.
    """

    lot: str
    size: int
    plan: Plan
    severity: Severity
    inspected: int
    bad: int
    outcome: Outcome
    course: Course

    @property
    def producers_quality(self) -> float:
        """Share of bad pieces at which 95 of 100 lots are accepted."""
        return quality_at(self.plan, 0.95)

    @property
    def consumers_quality(self) -> float:
        """Share of bad pieces at which 10 of 100 lots are accepted."""
        return quality_at(self.plan, 0.10)


def accept_series(lots: Sequence[SampledLot], aql: float, level: Level = "II") -> tuple[Acceptance, ...]:
    """Inspect lots one after the other, each under the severity that those before it lead to.

    A lot whose sample is too small or undecided leaves the series where it stands.

    Raises
    ------
    Unusable
        The AQL is none of the standard's, or a lot is smaller than 2.
    """
    course, found = Course(), []
    for lot in lots:
        plan = single_plan(lot.size, aql, course.severity, level)
        sample = lot.fates[: plan.size]
        bad = sum(fate in BAD for fate in sample)
        outcome = _outcome(course, plan, sample, bad)
        severity = course.severity
        if outcome in ("accepted", "not accepted"):
            course = after_lot(course, plan, bad)
        found.append(Acceptance(lot.lot, lot.size, plan, severity, len(sample), bad, outcome, course))
    return tuple(found)


def _outcome(course: Course, plan: Plan, sample: Sequence[Fate], bad: int) -> Outcome:
    if course.stopped:
        return "stopped"
    if bad > plan.accept:
        return "not accepted"
    if len(sample) < plan.size:
        return "sample too small"
    if bad + sum(fate == "waiting" for fate in sample) > plan.accept:
        return "undecided"
    return "accepted"
