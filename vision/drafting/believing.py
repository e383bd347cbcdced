"""Whether a drawing's size can be right: its unit, its scale, its dimensions, and what a camera sees of the piece."""

from collections.abc import Sequence

import numpy as np

from vision.formats import UNITS, Dimension, Sheet

# From the shortest coffee spoon to the longest ladle, mm: common practice, no source. A person who names the unit may
# go beyond.
_SHORTEST_MM, _LONGEST_MM = 60.0, 450.0
# A dimension agrees with what is drawn to this share: it is written to a few digits.
_AGREES = 0.01


def size_doubt(sheet: Sheet, length_mm: float, unit_given: bool, scale_given: bool) -> str:
    """Why a drawing's size can't be believed.

    Parameters
    ----------
    sheet
        The drawing as read.
    length_mm
        Length of the piece by it.
    unit_given, scale_given
        Whether a person named the unit, the scale.

    Returns
    -------
    str
        What to say, in one line; empty where nothing speaks against it.
    """
    if sheet.unit is None:
        return f"a drawing that names its unit, or --unit, expected; {_lengths(length_mm)}"
    ratio = dimensions_ratio(sheet)
    if ratio is not None and not scale_given:
        fits = [
            one.key for one in UNITS.values() if one.key in ("mm", "cm", "in") and _same(ratio * sheet.unit.mm, one.mm)
        ]
        hint = (
            f"--unit {fits[0]}, or --scale {ratio:.4g} where it is drawn to a scale" if fits else f"--scale {ratio:.4g}"
        )
        return (
            f"dimensions that agree with what is drawn expected: they say {ratio:.4g} times as much; give {hint} "
            f"(--scale 1: the drawing is right)"
        )
    if not (_SHORTEST_MM <= length_mm <= _LONGEST_MM or unit_given or scale_given):
        return (
            f"a piece of {_SHORTEST_MM:g} to {_LONGEST_MM:g} mm expected, or --unit to say that it is so; "
            f"{_lengths(length_mm / sheet.unit.mm)}"
        )
    return ""


def dimensions_ratio(sheet: Sheet) -> float | None:
    """How many times what is drawn most dimensions say, where that is not what the drawing's unit explains; else None.

    Numbers may be written in the drawing's unit or in mm; single dimensions that disagree are left to people.
    """
    if sheet.unit is None or not sheet.dimensions:
        return None
    ratio = _middle(sheet.dimensions)
    explained = (sheet.scale, sheet.scale * sheet.unit.mm)
    return None if any(_same(ratio, one) for one in explained) else ratio


def _middle(dimensions: Sequence[Dimension]) -> float:
    return float(np.median([one.written / one.drawn for one in dimensions]))


def _same(one: float, other: float) -> bool:
    return abs(one / other - 1.0) <= _AGREES


def _lengths(drawn: float) -> str:
    """How long the piece would be in the units that drawings mostly come in."""
    told = ", ".join(
        f"{drawn * UNITS[key].mm:.4g} mm if it is drawn in {UNITS[key].name}" for key in ("mm", "cm", "in")
    )
    return f"the piece would be {told}"
