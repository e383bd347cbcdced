"""Analysis of variance of balanced tables: one way, and two ways crossed."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of an analysis of variance.

    `ss` sum of squares; `df` degrees of freedom; `ms` = ss / df, None for the total; `f` and `p` None where the line is
    tested against nothing, or against a mean square of 0.
    """

    ss: float
    df: int
    ms: float | None
    f: float | None = None
    p: float | None = None


@dataclass(frozen=True, slots=True)
class OneWay:
    """Parts measured several times each."""

    part: Line
    repeatability: Line
    total: Line


@dataclass(frozen=True, slots=True)
class TwoWay:
    """Parts crossed with operators, several trials a cell.

    Parts and operators are random: they are tested against the interaction, or against the repeatability where the
    interaction was pooled into it (`interaction` None then).
    """

    part: Line
    operator: Line
    interaction: Line | None
    repeatability: Line
    total: Line


def one_way(values: Array) -> OneWay:
    """Analysis of variance of `values` (parts, trials), at least 2 by 2.

    The data are centred first, so that large common leading digits cost no accuracy.

    Parameters
    ----------
    values
        (parts, trials) values, at least 2 by 2, in any one unit.

    Returns
    -------
    OneWay
        Sums of squares, degrees of freedom and F tests, in the values' unit squared.
    """
    parts, trials = values.shape
    centred = _centred(values)
    means = centred.mean(axis=1, keepdims=True)
    within = _line(float(((centred - means) ** 2).sum()), parts * (trials - 1))
    between = _tested(_line(trials * float((means**2).sum()), parts - 1), within)
    return OneWay(part=between, repeatability=within, total=_total(centred))


def two_way(values: Array) -> TwoWay:
    """Analysis of variance of `values` (parts, operators, trials), at least 2 by 2 by 2, interaction kept.

    Source: Montgomery, Design and Analysis of Experiments, section 13.3 (two random factors).

    Parameters
    ----------
    values
        (parts, operators, trials) values, in any one unit.

    Returns
    -------
    TwoWay
        Sums of squares, degrees of freedom and F tests, in the values' unit squared.
    """
    parts, operators, trials = values.shape
    centred = _centred(values)
    by_cell = centred.mean(axis=2)
    by_part, by_operator = by_cell.mean(axis=1), by_cell.mean(axis=0)
    crossed = by_cell - by_part[:, None] - by_operator[None, :]
    repeatability = _line(float(((centred - by_cell[:, :, None]) ** 2).sum()), parts * operators * (trials - 1))
    interaction = _tested(_line(trials * float((crossed**2).sum()), (parts - 1) * (operators - 1)), repeatability)
    return TwoWay(
        part=_tested(_line(operators * trials * float((by_part**2).sum()), parts - 1), interaction),
        operator=_tested(_line(parts * trials * float((by_operator**2).sum()), operators - 1), interaction),
        interaction=interaction,
        repeatability=repeatability,
        total=_total(centred),
    )


def pooled(table: TwoWay) -> TwoWay:
    """The same table with the interaction pooled into the repeatability.

    Parameters
    ----------
    table
        What `two_way` found.

    Returns
    -------
    TwoWay
        The table without interaction; one that has none is given back as it is.
    """
    if table.interaction is None:
        return table
    error = _line(table.interaction.ss + table.repeatability.ss, table.interaction.df + table.repeatability.df)
    return replace(
        table,
        part=_tested(table.part, error),
        operator=_tested(table.operator, error),
        interaction=None,
        repeatability=error,
    )


def _centred(values: Array) -> Array:
    shifted = values - values.flat[0]
    centred: Array = shifted - shifted.mean()
    return centred


def _line(ss: float, df: int) -> Line:
    return Line(ss, df, ss / df)


def _total(centred: Array) -> Line:
    return Line(float((centred**2).sum()), centred.size - 1, None)


def _tested(line: Line, error: Line) -> Line:
    if not error.ms or line.ms is None:
        return replace(line, f=None, p=None)
    f = line.ms / error.ms
    return replace(line, f=f, p=float(stats.f.sf(f, line.df, error.df)))
