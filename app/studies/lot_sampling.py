"""Accepting lots by samples of them: the plan of each lot in a series, as ISO 2859-1's switching rules have it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from app.statistics import Course, Level, Plan, Severity, after_lot, begin, quality_at, single_plan, why_not_begin
from app.studies.lot_summary import Fate

Outcome = Literal["accepted", "not accepted", "sample too small", "undecided", "stopped"]
BAD: tuple[Fate, ...] = ("rejected", "sorted out")


@dataclass(frozen=True, slots=True)
class SampledLot:
    """A lot of `size` pieces and what became of those photographed, in order of time.

    `then`: the inspections that those responsible said are to begin after it, each in place of the one before;
    `follower`: the next lot of the series where there is one already.
    """

    lot: str
    size: int
    fates: tuple[Fate, ...]
    then: tuple[Severity, ...] = ()
    follower: str | None = None


@dataclass(frozen=True, slots=True)
class Acceptance:
    """One lot's inspection by sample.

    `inspected`, `bad`: of the plan's sample, which is the first pieces photographed. `undecided`: pieces of the sample
    still wait for review, and what they are would tell. `course` is where the series stands after this lot; `unheeded`
    what those responsible said is to begin after it and the rules don't leave to them; `follower` as of `SampledLot`.
    """

    lot: str
    size: int
    plan: Plan
    severity: Severity
    inspected: int
    bad: int
    outcome: Outcome
    course: Course
    unheeded: tuple[Severity, ...] = ()
    follower: str | None = None

    @property
    def may_begin(self) -> tuple[Severity, ...]:
        """What those responsible may say is to begin after this lot."""
        return tuple(one for one in get_args(Severity) if self.why_not_begin(one) is None)

    def why_not_begin(self, severity: Severity) -> str | None:
        """Why those responsible can't say that an inspection is to begin after this lot; None where they can."""
        if self.follower is not None:
            return f"lot {self.follower} was inspected after it, so that it is too late; say it of the newest lot"
        return why_not_begin(self.course, severity)

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

    A lot whose sample is too small or undecided leaves the series where it stands. So does a word of those responsible
    that the rules, by this AQL and by what became of the pieces since, don't leave to them.

    Parameters
    ----------
    lots
        In order of time, each with its sample's fates.
    aql
        Acceptable quality limit, in percent nonconforming.
    level
        General or special inspection level.

    Returns
    -------
    tuple[Acceptance, ...]
        For each lot the plan, what its sample says and the course from then on.

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
        unheeded = []
        for word in lot.then:
            begun = begin(course, word)
            if begun is None:
                unheeded.append(word)
            else:
                course = begun
        counted = (len(sample), bad, outcome)
        found.append(Acceptance(lot.lot, lot.size, plan, severity, *counted, course, tuple(unheeded), lot.follower))
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
