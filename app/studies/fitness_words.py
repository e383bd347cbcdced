"""Whether the camera is fit to judge by itself, in words, by thresholds that a works chooses."""

from dataclasses import dataclass
from typing import Literal

from app.statistics import Estimate
from app.studies.pairs import Pair

Outcome = Literal["fit", "not fit", "not shown"]


@dataclass(frozen=True, slots=True)
class Thresholds:
    """What a works asks of its camera, as shares but for kappa.

    The defaults are the customary ones for attribute studies (AIAG, Measurement Systems Analysis, 4th edition, from
    memory: missed 2 %, false alarms 5 %, kappa 0.75); a works sets its own.
    """

    max_missed: float = 0.02
    max_false_alarm: float = 0.05
    min_kappa: float = 0.75


@dataclass(frozen=True, slots=True)
class Finding:
    """One threshold held against its interval.

    `fit` where the whole 95 % interval keeps it. `not fit` where the exact one-sided bound (Clopper and Pearson 1934;
    weighted where a design is) breaks it at 98.3 %: three figures are looked at, and any of them is then falsely found
    broken in at most 5 % (Bonferroni).
    """

    outcome: Outcome
    words: str


@dataclass(frozen=True, slots=True)
class Fitness:
    """The verdict on a camera: the worst of its findings decides."""

    outcome: Outcome
    findings: tuple[Finding, ...]

    @property
    def words(self) -> str:
        """The verdict as one sentence."""
        return {
            "fit": "Fit for use: every threshold is kept with 95 % confidence.",
            "not fit": "Not fit for use: at least one threshold is broken with 95 % confidence, all looks together.",
            "not shown": "Not shown to be fit: nothing speaks clearly against it, but this study is too small to tell.",
        }[self.outcome]


def fitness(pair: Pair, thresholds: Thresholds) -> Fitness:
    """Hold a camera's comparison with the majority against thresholds, by the ends of the 95 % intervals."""
    findings = (
        _at_most(
            "missed",
            "pieces that people reject and the camera passes",
            _Rate(pair.missed, pair.shown_missed),
            thresholds.max_missed,
        ),
        _at_most(
            "false alarms",
            "pieces that people accept and the camera does not pass",
            _Rate(pair.false_alarm, pair.shown_false_alarm),
            thresholds.max_false_alarm,
        ),
        _at_least_kappa(pair, thresholds.min_kappa),
    )
    outcomes = {finding.outcome for finding in findings}
    outcome: Outcome = "not fit" if "not fit" in outcomes else "not shown" if "not shown" in outcomes else "fit"
    return Fitness(outcome, findings)


@dataclass(frozen=True, slots=True)
class _Rate:
    """A rate as found, and what it is at least by the exact bound."""

    found: Estimate
    at_least: float


def _at_most(title: str, meaning: str, rate: _Rate, bound: float) -> Finding:
    """A rate against the most that is allowed."""
    found = rate.found
    if found.value is None or found.ci is None:
        return Finding("not shown", f"{title}: there were no such pieces to count ({meaning})")
    low, high = found.ci
    outcome: Outcome = "fit" if high <= bound else "not fit" if rate.at_least > bound else "not shown"
    return Finding(
        outcome,
        f"{title}: {found.value:.1%}, between {low:.1%} and {high:.1%}; at most {bound:.1%} is asked ({meaning})",
    )


def _at_least_kappa(pair: Pair, bound: float) -> Finding:
    if pair.kappa.value is None or pair.kappa.ci is None:
        return Finding("not shown", f"kappa: not defined, only one verdict occurs; at least {bound:.2f} is asked")
    low, high = pair.kappa.ci
    outcome: Outcome = "fit" if low >= bound else "not fit" if pair.kappa_at_most < bound else "not shown"
    return Finding(
        outcome, f"kappa: {pair.kappa.value:.2f}, between {low:.2f} and {high:.2f}; at least {bound:.2f} is asked"
    )
