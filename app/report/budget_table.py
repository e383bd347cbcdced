"""An uncertainty budget as a table of HTML, as a metrologist lays it out."""

from functools import cache
from math import floor, isfinite, log10

import jinja2

from app.report.template_environment import template_environment
from vision.calibrate import Budget


def budget_table(budget: Budget, unit: str) -> str:
    """Contributions, combined and expanded uncertainty; `unit` of the result, empty where it has none.

    A contribution's standard uncertainty is in its own unit: the sensitivity carries it to the result's.
    """
    return _template().render(budget=budget, unit=unit)


@cache
def _template() -> jinja2.Template:
    environment = template_environment()
    environment.globals.update(number=number_text, freedom=freedom_text)
    return environment.get_template("budget.html")


def number_text(value: float) -> str:
    """A number to two digits that count; a dash where there is none."""
    if not isfinite(value):
        return "–"
    if value == 0.0:
        return "0"
    if abs(value) >= 1e5 or abs(value) < 1e-4:
        return f"{value:.1e}"
    return f"{value:.{max(0, 1 - floor(log10(abs(value))))}f}"


def freedom_text(freedom: float) -> str:
    """Degrees of freedom, cut down to a whole number."""
    return f"{floor(freedom)}" if isfinite(freedom) else "∞"
