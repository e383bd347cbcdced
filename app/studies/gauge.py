"""Gauge repeatability and reproducibility from a crossed, balanced table."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.statistics import Component, Line, OneWay, Term, TwoWay, component, one_way, pooled, two_way

Source = Literal["repeatability", "operator", "interaction", "part", "reproducibility", "gauge", "total"]

POOLING_P = 0.25
"""The interaction is pooled into the repeatability when its p is greater (agreed for `gauge.json`)."""

CATEGORY_FACTOR = 1.41
"""Distinct categories = 1.41 x part spread / gauge spread, cut to a whole number (AIAG, Measurement Systems Analysis,
4th edition: 4.86 in its worked example)."""

STUDY_SPREADS = 6.0
"""Standard deviations that count as a spread against the tolerance (AIAG, 4th edition; from memory)."""


@dataclass(frozen=True, slots=True, eq=False)
class GaugeTable:
    """A crossed, balanced study: `values` (parts, operators, trials) in the units of the table."""

    parts: tuple[str, ...]
    operators: tuple[str, ...]
    values: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """What a gauge study says.

    `components` are the variances as estimated, possibly negative; `variance` the same with negative ones set to 0 and
    the sums formed from those. With one operator the interaction and the operator are unknown (None).
    `study_percent` and `tolerance_percent` are shares of standard deviations, 100 x spread / total spread or
    / tolerance; None where all values are equal, or where no tolerance was given. `distinct_categories` None where the
    gauge shows no spread at all.
    """

    trials: int
    table: TwoWay | OneWay
    table_pooled: TwoWay | None
    components: Mapping[Source, Component | None]
    variance: Mapping[Source, float | None]
    study_percent: Mapping[Source, float | None] | None
    tolerance_percent: Mapping[Source, float | None] | None
    distinct_categories: int | None

    @property
    def interaction_pooled(self) -> bool:
        """Whether the interaction went into the repeatability."""
        return self.table_pooled is not None


def study_gauge(table: GaugeTable, tolerance: float | None = None) -> GaugeStudy:
    """Variance components of a crossed, balanced study, at least 2 parts and 2 trials.

    With two operators or more: two-way random effects (Montgomery, Design and Analysis of Experiments, section 13.3;
    AIAG, Measurement Systems Analysis). With one: one way, parts against repeats.

    Parameters
    ----------
    table
        Values by part, operator and trial, in any one unit.
    tolerance
        Width of the tolerance in the units of the values.

    Returns
    -------
    GaugeStudy
        Components of the variance in the values' unit squared; shares of study and tolerance in percent.
    """
    _parts, operators, trials = table.values.shape
    if operators == 1:
        single = one_way(table.values[:, 0, :])
        return _study(trials, single, None, _one_way_components(single, trials), tolerance)
    full = two_way(table.values)
    # Without any spread in the repeats nothing can be tested, and nothing is pooled.
    p = full.interaction.p if full.interaction else None
    reduced = pooled(full) if p is not None and p > POOLING_P else None
    return _study(trials, full, reduced, two_way_components(reduced or full, table.values.shape), tolerance)


def _study(
    trials: int,
    table: TwoWay | OneWay,
    table_pooled: TwoWay | None,
    components: dict[Source, Component | None],
    tolerance: float | None,
) -> GaugeStudy:
    variance = _variances(components)
    spread: dict[Source, float | None] = {name: None if v is None else sqrt(v) for name, v in variance.items()}
    total, gauge, part = spread["total"], spread["gauge"], spread["part"]
    categories = None
    if gauge and part is not None:
        # Even a gauge that tells no two parts apart knows one category.
        categories = max(1, int(CATEGORY_FACTOR * part / gauge))
    return GaugeStudy(
        trials=trials,
        table=table,
        table_pooled=table_pooled,
        components=components,
        variance=variance,
        study_percent=_percent(spread, 1.0, total) if total else None,
        tolerance_percent=_percent(spread, STUDY_SPREADS, tolerance) if tolerance else None,
        distinct_categories=categories,
    )


def _percent(spread: Mapping[Source, float | None], spreads: float, whole: float) -> dict[Source, float | None]:
    return {name: None if sd is None else 100 * spreads * sd / whole for name, sd in spread.items()}


def _variances(components: Mapping[Source, Component | None]) -> dict[Source, float | None]:
    def floored(name: Source) -> float | None:
        found = components[name]
        return None if found is None else max(found.value, 0.0)

    repeatability, operator, interaction, part = (
        floored(name) for name in ("repeatability", "operator", "interaction", "part")
    )
    reproducibility = None if operator is None or interaction is None else operator + interaction
    gauge = (repeatability or 0.0) + (reproducibility or 0.0)
    return {
        "repeatability": repeatability,
        "operator": operator,
        "interaction": interaction,
        "part": part,
        "reproducibility": reproducibility,
        "gauge": gauge,
        "total": gauge + (part or 0.0),
    }


def _term(line: Line, factor: float) -> Term:
    return Term(factor, line.ss / line.df, line.df)


def _one_way_components(table: OneWay, trials: int) -> dict[Source, Component | None]:
    within = component([_term(table.repeatability, 1.0)])
    return {
        "repeatability": within,
        "operator": None,
        "interaction": None,
        "part": component([_term(table.part, 1 / trials), _term(table.repeatability, -1 / trials)]),
        "reproducibility": None,
        "gauge": within,
        "total": component([_term(table.part, 1 / trials), _term(table.repeatability, 1 - 1 / trials)]),
    }


def two_way_components(table: TwoWay, shape: tuple[int, ...]) -> dict[Source, Component | None]:
    """Combine mean squares after their expectations; without an interaction line its mean square is the error's."""
    parts, operators, trials = shape
    per_part, per_operator = 1 / (operators * trials), 1 / (parts * trials)
    error = table.repeatability
    if table.interaction is None:
        crossed, kept = error, 0.0
    else:
        crossed, kept = table.interaction, 1 / trials
    zero = Component(0.0, 0.0, (0.0, 0.0))
    sums: dict[Source, list[tuple[Line, float]]] = {
        "repeatability": [(error, 1.0)],
        "operator": [(table.operator, per_operator), (crossed, -per_operator)],
        "interaction": [(crossed, kept), (error, -kept)],
        "part": [(table.part, per_part), (crossed, -per_part)],
        "reproducibility": [(table.operator, per_operator), (crossed, kept - per_operator), (error, -kept)],
        "gauge": [(table.operator, per_operator), (crossed, kept - per_operator), (error, 1 - kept)],
        "total": [
            (table.part, per_part),
            (table.operator, per_operator),
            (crossed, kept - per_part - per_operator),
            (error, 1 - kept),
        ],
    }
    return {name: component(_merged(lines)) if name != "interaction" or kept else zero for name, lines in sums.items()}


def _merged(lines: list[tuple[Line, float]]) -> list[Term]:
    """One term for each mean square; the interaction's and the error's are one and the same once pooled."""
    factors: dict[Line, float] = {}
    for line, factor in lines:
        factors[line] = factors.get(line, 0.0) + factor
    return [_term(line, factor) for line, factor in factors.items()]
