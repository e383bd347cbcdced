"""Whether people's verdicts drift: by the place in the sitting, the hour and the day, each tested for a trend.

A blind round shows its pieces to each inspector in an order of their own, drawn at random, so that a trend is the
inspector's and not the pieces'. Inspectors are strata of the test and are never compared.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import sqrt
from typing import Literal, Protocol

import numpy as np
from scipy import stats

SITTING_ENDS_S = 1800.0
"""A pause of half an hour ends a sitting (common practice, no source)."""

PARTS = 4
"""Quarters by which a share is shown along an axis."""


class TimedVerdict(Protocol):
    """What is read of a verdict."""

    @property
    def inspector(self) -> str:
        """Who."""

    @property
    def verdict(self) -> Literal["accept", "reject"]:
        """What they said."""

    @property
    def given_at(self) -> str | None:
        """When, ISO 8601; empty or None where nobody knows."""


@dataclass(frozen=True, slots=True)
class Drift:
    """Shares rejected along one axis.

    `shares`: in the first to the last quarter of the verdicts; `p` of a linear trend, stratified by inspector (Mantel
    1963, J. Am. Stat. Assoc. 58:690), times the number of axes looked at (Bonferroni), at most 1.
    """

    axis: str
    shares: tuple[float, ...]
    p: float


def drifts(said: Iterable[TimedVerdict]) -> tuple[Drift, ...]:
    """Every axis on which verdicts lie at more than one place.

    Verdicts without a time are left out, and those of one person at one and the same moment: nobody gives two at once,
    so that the moment is another one's, as that of a table brought in.

    Parameters
    ----------
    said
        Verdicts of people, in any order, with times.

    Returns
    -------
    tuple[Drift, ...]
        For each axis the share rejected in each quarter, and the p of a trend, for all axes together (Bonferroni).
    """
    timed = [one for one in said if one.given_at]
    at_once = Counter((one.inspector, one.given_at) for one in timed)
    of: dict[str, list[tuple[datetime, bool]]] = defaultdict(list)
    for one in timed:
        if at_once[one.inspector, one.given_at] == 1:
            of[one.inspector].append((datetime.fromisoformat(one.given_at or ""), one.verdict == "reject"))
    places: dict[str, list[list[float]]] = defaultdict(list)
    rejects: list[list[bool]] = []
    for given in of.values():
        given.sort(key=lambda one: one[0])
        times = [time for time, _ in given]
        rejects.append([word for _, word in given])
        places["place in the sitting"].append(_in_sitting(times))
        places["verdicts given before"].append([float(k) for k in range(len(times))])
        places["hour of the day"].append([time.hour + time.minute / 60 for time in times])
        places["day"].append([float(time.toordinal()) for time in times])
    looked = {axis: x for axis, x in places.items() if any(len(set(own)) > 1 for own in x)}
    return tuple(
        Drift(axis, _quarters(x, rejects), min(1.0, len(looked) * trend_p(x, rejects))) for axis, x in looked.items()
    )


def _in_sitting(times: list[datetime]) -> list[float]:
    found: list[float] = []
    for k, time in enumerate(times):
        goes_on = k > 0 and (time - times[k - 1]).total_seconds() <= SITTING_ENDS_S
        found.append(found[-1] + 1 if goes_on else 0.0)
    return found


def _quarters(places: list[list[float]], rejects: list[list[bool]]) -> tuple[float, ...]:
    x, y = np.concatenate(places), np.concatenate(rejects)
    parts = np.array_split(np.argsort(x, kind="stable"), min(PARTS, len(x)))
    return tuple(float(y[part].mean()) for part in parts)


def trend_p(places: list[list[float]], rejects: list[list[bool]]) -> float:
    """Two-sided p of a linear trend of rejections along an axis, by strata (Mantel 1963); 1 where nothing can tell."""
    score = variance = 0.0
    for own, words in zip(places, rejects, strict=True):
        x, y, n = np.array(own), np.array(words, dtype=np.float64), len(own)
        if n < 2:
            continue
        score += float(((x - x.mean()) * y).sum())
        variance += float(x.var() * y.var() * n * n / (n - 1))
    return 1.0 if variance <= 0 else float(2 * stats.norm.sf(abs(score) / sqrt(variance)))
