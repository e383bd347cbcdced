"""The history of a station's checks: deviations of each measure with their control limits, as charts and as a page."""

from collections.abc import Sequence
from dataclasses import dataclass

import jinja2
import numpy as np

from app.report.cautions import CAUTIONS
from app.report.charts import Axis, Frame, axis_of, chart, dots, level, line
from app.report.look import ACCENT, MUTED
from vision.calibrate.drift import CheckResult, DriftOfMeasure

LEAST_CHECKS = 8  # room on the axis, so that a first check does not stand alone in a corner


@dataclass(frozen=True, slots=True)
class MeasureHistory:
    """Values of one measure at each check since calibration, oldest first (None where missing), and its drift now."""

    measure: str
    values: Sequence[float | None]
    drift: DriftOfMeasure


def check_chart(history: MeasureHistory) -> str:
    """One chart, SVG; deviations beyond the limit are marked in the accent colour."""
    known, limit = history.drift.value - history.drift.deviation, history.drift.single_limit
    deviation = np.array([np.nan if value is None else value - known for value in history.values])
    number = np.arange(1.0, len(deviation) + 1.0)
    frame = Frame(
        Axis(0.5, max(len(deviation), LEAST_CHECKS) + 0.5, "check since calibration"),
        axis_of([*deviation, -1.15 * limit, 1.15 * limit], f"{history.measure}, deviation"),
    )
    seen = np.isfinite(deviation)
    out = seen & (np.abs(deviation) > limit)
    marks = [
        level(frame, limit, "control limit"),
        level(frame, -limit, "control limit"),
        level(frame, 0.0, "known value", dash="", colour=MUTED),
        line(frame, number, deviation),
        dots(frame, number[seen & ~out], deviation[seen & ~out]),
        dots(frame, number[out], deviation[out], shape="square", colour=ACCENT, radius=5.5),
    ]
    return chart(frame, marks, f"Deviations of {history.measure} from its known value at each check")


def check_page(station: str, histories: Sequence[MeasureHistory], times: Sequence[str], result: CheckResult) -> str:
    """All charts of a station as one HTML page that stands alone; `times` of the checks, oldest first."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("app.report", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
    )
    return environment.get_template("check.html").render(
        station=station,
        verdict=result.verdict,
        reasons=result.reasons,
        first=times[0],
        last=times[-1],
        count=len(times),
        charts=[(history.measure, check_chart(history)) for history in histories],
        cautions=CAUTIONS,
    )
