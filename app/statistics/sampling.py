"""Acceptance sampling by attributes: the single sampling plans of ISO 2859-1 and what a plan lets through."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from vision.errors import Unusable

Level = Literal["I", "II", "III", "S-1", "S-2", "S-3", "S-4"]
Severity = Literal["normal", "tightened", "reduced"]

LOT_ENDS = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10000, 35000, 150000, 500000)
"""Largest lot of each row of ISO 2859-1:1999, table 1; the last row has no end."""

CODE_LETTERS: dict[Level, str] = {
    "I": "AABCCDEFGHJKLMN",
    "II": "ABCDEFGHJKLMNPQ",
    "III": "BCDEFGHJKLMNPQR",
    "S-1": "AAAABBBBCCCCDDD",
    "S-2": "AAABBBCCCDDDEEE",
    "S-3": "AABBCCDDEEFFGGH",
    "S-4": "AABCCDEEFGGHJJK",
}
"""A letter for each row of table 1."""

LETTERS = "ABCDEFGHJKLMNPQRS"
FULL_SIZES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000, 3150)
REDUCED_SIZES = (2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800)

AQLS = (0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0)
"""Acceptance quality limits in percent nonconforming."""

ARROW = None


@dataclass(frozen=True, slots=True)
class _Master:
    """One master table, by its diagonal rule: every column holds the same series, a row higher for each next AQL.

    `zero_row`: row of the plan with acceptance number 0 at the smallest AQL; `series`: acceptance numbers downwards
    from there, ARROW where an arrow stands; `sizes` a row.
    """

    zero_row: int
    series: tuple[int | None, ...]
    sizes: tuple[int, ...]


# Tables 2-A and 2-B; in 2-C the row of 0 is that of 2-A. Table 2-C is from memory; two of its cells (L and M at 0.65)
# were seen quoted.
_MASTERS: dict[Severity, _Master] = {
    "normal": _Master(14, (0, ARROW, ARROW, 1, 2, 3, 5, 7, 10, 14, 21), FULL_SIZES[:16]),
    "tightened": _Master(15, (0, ARROW, ARROW, 1, 2, 3, 5, 8, 12, 18), FULL_SIZES),
    "reduced": _Master(14, (0, ARROW, ARROW, 1, 1, 2, 3, 5, 6, 8, 10), REDUCED_SIZES),
}


@dataclass(frozen=True, slots=True)
class Plan:
    """Inspect `size` pieces; accept the lot with at most `accept` bad ones among them.

    `letter` names the row that the plan stands in, after arrows; `tighter_accept`: the acceptance number one AQL
    tighter in the same row, for the switching score, None where that cell is an arrow.
    """

    letter: str
    size: int
    accept: int
    tighter_accept: int | None

    @property
    def reject(self) -> int:
        """Rejection number: this many bad pieces or more."""
        return self.accept + 1


def code_letter(lot_size: int, level: Level = "II") -> str:
    """Sample size code letter, ISO 2859-1 table 1.

    Raises
    ------
    Unusable
        A lot of fewer than 2 pieces.
    """
    if lot_size < 2:
        raise Unusable("lot", "", "at least 2 pieces; inspect a single one itself", str(lot_size))
    row = sum(lot_size > end for end in LOT_ENDS)
    return CODE_LETTERS[level][row]


def single_plan(lot_size: int, aql: float, severity: Severity = "normal", level: Level = "II") -> Plan:
    """Single sampling plan, ISO 2859-1 tables 2-A to 2-C, for percent nonconforming.

    An arrow changes the sample's size as well as the numbers. A sample as large as the lot is the lot: all of it is
    inspected.

    Parameters
    ----------
    lot_size
        Number of pieces of the lot.
    aql
        Acceptable quality limit, in percent nonconforming.
    severity
        Of inspection, by the switching rules.
    level
        General or special inspection level.

    Returns
    -------
    Plan
        Code letter, sample size and acceptance number.

    Raises
    ------
    Unusable
        The AQL is none of the standard's, or the lot is smaller than 2.
    """
    if aql not in AQLS:
        raise Unusable("AQL", "", f"one of {', '.join(f'{one:g}' for one in AQLS)} percent", f"{aql:g}")
    row = _follow(LETTERS.index(code_letter(lot_size, level)), AQLS.index(aql), _MASTERS[severity])
    master = _MASTERS[severity]
    offset = row - (master.zero_row - AQLS.index(aql))
    accept = master.series[offset]
    assert accept is not None
    tighter = master.series[offset - 1] if offset > 0 else None
    return Plan(LETTERS[row], min(master.sizes[row], lot_size), accept, tighter)


def _follow(row: int, column: int, master: _Master) -> int:
    """The row of the plan that a cell, or the arrow in it, points to.

    Above the series arrows point down, below it up. Between 0 and 1 the upper cell points up in tables 2-A and 2-C and
    down in 2-B, the lower one down; where there is nothing in that direction it is the other way.
    """
    zero = master.zero_row - column
    plans = [
        zero + k for k, number in enumerate(master.series) if number is not ARROW and 0 <= zero + k < len(master.sizes)
    ]
    if row in plans:
        return row
    above, below = [one for one in plans if one < row], [one for one in plans if one > row]
    upwards = row == zero + 1 and master is not _MASTERS["tightened"]
    if (upwards and above) or not below:
        return max(above)
    return min(below)


def acceptance(plan: Plan, bad_share: float | NDArray[np.float64], lot_size: int | None = None) -> NDArray[np.float64]:
    """Probability of accepting lots with a share of bad pieces: the operating characteristic.

    Binomial, for a steady process; hypergeometric for a lot of `lot_size`, whose number of bad pieces is rounded.
    """
    share = np.asarray(bad_share, dtype=np.float64)
    if lot_size is None:
        found: NDArray[np.float64] = stats.binom.cdf(plan.accept, plan.size, share)
    else:
        found = stats.hypergeom.cdf(plan.accept, lot_size, np.rint(share * lot_size).astype(np.int64), plan.size)
    return found


def quality_at(plan: Plan, probability: float) -> float:
    """The share of bad pieces at which lots are accepted with this probability (binomial).

    Parameters
    ----------
    plan
        A single sampling plan.
    probability
        Probability of acceptance, between 0 and 1.

    Returns
    -------
    float
        Share of bad pieces, between 0 and 1.
    """
    return float(optimize.brentq(lambda share: float(acceptance(plan, share)) - probability, 0.0, 1.0, xtol=1e-12))
