"""The history of a station's checks: deviations of each measure with their control limits, as charts and as a page."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.report.budget_table import budget_table
from app.report.cautions import CAUTIONS
from app.report.charts import Axis, Frame, axis_of, chart, dots, level, line
from app.report.style import ACCENT, MUTED
from app.report.template_environment import template_environment
from app.report.words import measure_words, number_words
from vision.calibrate import CHECKS_BETWEEN, Budget, DriftOfMeasure
from vision.formats import Check, of_calibration

LEAST_CHECKS = 8  # room on the axis, so that a first check does not stand alone in a corner


@dataclass(frozen=True, slots=True)
class MeasureHistory:
    """Values of one measure at each check since calibration, oldest first (None where missing), and its drift now."""

    measure: str
    values: Sequence[float | None]
    drift: DriftOfMeasure


def since_calibration(checks: Sequence[Check]) -> tuple[Check, ...]:
    """Of one station's checks, oldest first, those that share the last one's calibration and reference piece.

    Parameters
    ----------
    checks
        One station's, oldest first.

    Returns
    -------
    tuple[Check, ...]
        Oldest first.
    """
    last = checks[-1]
    return of_calibration(checks, last.station, last.calibration, last.reference)


def histories(checks: Sequence[Check]) -> list[MeasureHistory]:
    """What each measure of the last check was at all of these checks.

    Parameters
    ----------
    checks
        One station's since its calibration, oldest first.

    Returns
    -------
    list[MeasureHistory]
        Values in the measure's unit, none where it could not be measured.
    """
    return [
        MeasureHistory(drift.measure, [check.values.get(drift.measure) for check in checks], drift)
        for drift in checks[-1].drifts
    ]


def check_chart(history: MeasureHistory) -> str:
    """One chart, SVG; deviations beyond the limit are marked in the accent colour.

    Parameters
    ----------
    history
        Of one measure.

    Returns
    -------
    str
        SVG.
    """
    known, limit = history.drift.value - history.drift.deviation, history.drift.single_limit
    deviation = np.array([np.nan if value is None else value - known for value in history.values])
    number = np.arange(1.0, len(deviation) + 1.0)
    frame = Frame(
        Axis(0.5, max(len(deviation), LEAST_CHECKS) + 0.5, "check since calibration", integer=True),
        axis_of([*deviation, -1.15 * limit, 1.15 * limit], _title(history.measure)),
    )
    seen = np.isfinite(deviation)
    out = seen & (np.abs(deviation) > limit)
    marks = [
        level(frame, limit, "control limit"),
        level(frame, -limit, "control limit"),
        level(frame, 0.0, "", dash="", colour=MUTED),
        line(frame, number, deviation),
        dots(frame, number[seen & ~out], deviation[seen & ~out]),
        dots(frame, number[out], deviation[out], shape="square", colour=ACCENT, radius=5.5),
    ]
    return chart(frame, marks, f"Deviations of {history.measure} from its known value at each check")


def _title(name: str) -> str:
    """What the axis shows: the measure in words, its zone, and the unit."""
    unit = measure_words(name.partition(".")[0]).unit
    return f"{_name(name)} − known value{f' ({unit})' if unit else ''}"


def _name(key: str) -> str:
    """A measure in words, with its zone."""
    measure, _, zone = key.partition(".")
    return f"{measure_words(measure).title}{f' of the {zone}' if zone else ''}"


def why_stopped(check: Check) -> tuple[str, ...]:
    """Why a check stopped its station, in words and with units; as its history says it where that lacks the limits.

    Parameters
    ----------
    check
        One that stopped its station.

    Returns
    -------
    tuple[str, ...]
        A line each.
    """
    if not check.drifts:
        return check.reasons
    why = [f"{_name(key)} could not be measured" for key, value in check.values.items() if value is None]
    for drift in check.drifts:
        if drift.off:
            why.append(
                f"{_name(drift.measure)} is off by {_against(drift.measure, drift.deviation, drift.single_limit)}"
            )
        if drift.drifted:
            mean = _against(drift.measure, drift.weighted_mean, drift.mean_limit)
            why.append(f"{_name(drift.measure)} has drifted to {mean}")
    return tuple(why)


def _against(key: str, deviation: float, limit: float) -> str:
    """A deviation with its sign and its limit, finer by one decimal than the measure itself is told."""
    measure = key.partition(".")[0]
    sign = "+" if deviation > 0 else ""
    return f"{sign}{number_words(measure, deviation, 1)}, control limit {number_words(measure, limit, 1)}"


def check_page(checks: Sequence[Check], budgets: Sequence[tuple[str, Budget]]) -> str:
    """One station's checks since its calibration, oldest first, as charts on one HTML page that stands alone.

    `budgets` are those of the last check's deviations, by measure.

    Parameters
    ----------
    checks
        One station's since its calibration, oldest first.
    budgets
        Of the last check's deviations, by measure.

    Returns
    -------
    str
        HTML.
    """
    last = checks[-1]
    environment = template_environment()
    return environment.get_template("check.html").render(
        station=last.station,
        verdict=last.verdict,
        reasons=why_stopped(last),
        first=checks[0].checked_at,
        last=last.checked_at,
        count=len(checks),
        checks_between=round(CHECKS_BETWEEN),
        charts=[(history.measure, check_chart(history)) for history in histories(checks)],
        budgets=[(name, budget_table(budget, measure_words(name.partition(".")[0]).unit)) for name, budget in budgets],
        cautions=CAUTIONS,
    )
