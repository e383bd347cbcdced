"""How many verdicts a blind round needs, for a bound on the bad pieces that the camera misses."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, log

from app.statistics import pieces_for_promise, pieces_for_wilson
from vision.records import Verdict

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class RoundSize:
    """Verdicts needed to show, without a miss among them, that at most `bound` of the bad pieces are missed.

    `bad`: bad pieces, exact and one-sided at 95 %; `bad_by_wilson`: the same by the two-sided Wilson interval that a
    report of a table prints. `at_random`: verdicts that hold so many bad pieces in a round drawn at random; `passed`:
    verdicts on pieces that the camera passes, none of them bad, in a round by strata. Each at most what the lot has,
    and None where the lot has no bad piece to be expected.
    """

    bound: float
    bad: int
    bad_by_wilson: int
    at_random: int | None
    passed: int | None

    @property
    def words(self) -> str:
        """The numbers in words."""
        said = (
            f"To show that at most {self.bound:.1%} of bad pieces are missed takes {self.bad} bad pieces without a "
            f"miss (exact, one-sided, 95 %; {self.bad_by_wilson} by Wilson's two-sided interval)."
        )
        if self.at_random is None or self.passed is None:
            return f"{said} The camera flags nothing here, so that bad pieces can't be expected."
        return (
            f"{said} Here: about {self.at_random} verdicts drawn at random, or by strata {self.passed} on pieces that "
            "the camera passes, none of them bad, with some dozens of flagged ones."
        )


def round_size(sizes: Mapping[Verdict, int], flagged_bad: float, bound: float) -> RoundSize:
    """How many verdicts a round needs in a lot, so that it can bound the share of bad pieces that the camera misses.

    Parameters
    ----------
    sizes
        How many pieces have which of the camera's verdicts.
    flagged_bad
        Share of the flagged pieces that is expected to be bad.
    bound
        Share of bad pieces that may be missed.

    Returns
    -------
    RoundSize
        Numbers of bad pieces and of verdicts, by kind of draw; none where it can't be reckoned.
    """
    passed = sizes.get("pass", 0)
    total = sum(sizes.values())
    expected = flagged_bad * (total - passed)
    bad = pieces_for_promise(bound, CONFIDENCE)
    at_random = by_strata = None
    if expected > 0:
        at_random = min(total, ceil(bad * total / expected))
        # The share of bad ones among passed pieces at which `bound` of all bad pieces would be missed.
        share = bound / (1 - bound) * expected / max(passed, 1)
        by_strata = min(passed, ceil(log(1 - CONFIDENCE) / log(1 - share))) if share < 1 else min(passed, 1)
    return RoundSize(bound, bad, pieces_for_wilson(bound), at_random, by_strata)
