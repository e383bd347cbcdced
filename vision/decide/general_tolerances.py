"""General tolerances of ISO 2768-1:1989, for sizes that a drawing gives without a tolerance of their own.

Both tables are from memory; compare them with the standard before a part depends on them. Table 1 is of linear sizes,
table 3 of angles, by the length of the shorter leg.
"""

from typing import Literal

GeneralClass = Literal["f", "m", "c", "v"]
"""Fine, medium, coarse, very coarse."""

SOURCE = "ISO 2768-1:1989, values from memory"

# Size up to and with (mm): permissible deviation (mm, deg) of the classes f, m, c, v; None where the standard has none.
_LINEAR: tuple[tuple[float, tuple[float | None, ...]], ...] = (
    (3.0, (0.05, 0.1, 0.2, None)),
    (6.0, (0.05, 0.1, 0.3, 0.5)),
    (30.0, (0.1, 0.2, 0.5, 1.0)),
    (120.0, (0.15, 0.3, 0.8, 1.5)),
    (400.0, (0.2, 0.5, 1.2, 2.5)),
    (1000.0, (0.3, 0.8, 2.0, 4.0)),
)
_ANGULAR: tuple[tuple[float, tuple[float, ...]], ...] = (
    (10.0, (1.0, 1.0, 1.5, 3.0)),
    (50.0, (0.5, 0.5, 1.0, 2.0)),
    (120.0, (1 / 3, 1 / 3, 0.5, 1.0)),
    (400.0, (1 / 6, 1 / 6, 0.25, 0.5)),
)
_LEAST_MM = 0.5
_CLASSES = ("f", "m", "c", "v")


def linear_tolerance(size_mm: float, grade: GeneralClass) -> float | None:
    """Permissible deviation of a size, to either side, mm; None where the table has none."""
    if size_mm < _LEAST_MM:
        return None
    return next((row[_CLASSES.index(grade)] for most, row in _LINEAR if size_mm <= most), None)


def angular_tolerance(leg_mm: float, grade: GeneralClass) -> float | None:
    """Permissible deviation of an angle by its shorter leg, to either side, degrees; None beyond the table."""
    return next((row[_CLASSES.index(grade)] for most, row in _ANGULAR if leg_mm <= most), None)
