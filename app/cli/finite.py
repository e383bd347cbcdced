"""Numbers of a command that are numbers: click's own ranges let `nan` through, which no bound stops."""

import math
from typing import Any

import click


class Finite(click.FloatRange):
    """A finite number, within bounds where there are some."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it; what is none, infinite or out of bounds is refused by name."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value} is not a finite number.", param, ctx)
        return number
