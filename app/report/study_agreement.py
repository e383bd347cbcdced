"""The report of an agreement study: camera against people, for someone who must trust either."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.report.charts import Axis, Entry, Frame, Shape, axis_of_names, chart, dots, legend, whiskers
from app.report.study_page import ReportFolders, pictured, render
from app.statistics import pieces_for_half_width, pieces_for_kappa
from app.studies import MAJORITY, Agreement, AgreementStudy, Pair
from vision.records import Array, TrayResult

PICTURES_AT_MOST = 40
"""Pieces in dispute whose pictures go into the page; more would make a file too large to send."""

HALF_WIDTHS = (0.10, 0.05, 0.03, 0.02, 0.01)


@dataclass(frozen=True, slots=True)
class PlannedStudy:
    """How many pieces give an interval of +-`half_width`: rejected ones for the missed rate, accepted ones for false
    alarms, any for kappa (None where kappa is not defined)."""

    half_width: float
    rejected: int
    accepted: int
    for_kappa: int | None


def agreement_page(study: AgreementStudy, trays: Sequence[TrayResult], report_folders: ReportFolders) -> str:
    """The report as HTML that stands alone, with pictures of the pieces in dispute.

    Parameters
    ----------
    study
        What the study found.
    trays
        Results of the trays that were studied.
    report_folders
        Where pictures lie and what links to them.

    Returns
    -------
    str
        HTML.
    """
    agreement = study.agreement
    reference = agreement.camera_vs.get(MAJORITY)
    return render(
        "study_agreement.html",
        {
            "agreement": agreement,
            "samples": study.samples,
            "by_limit": study.by_limit,
            "corrected": study.corrected,
            "drifts": study.drifts,
            "said": study.said,
            "trays": trays,
            "lots": sorted({tray.lot for tray in trays if tray.lot}),
            "revisions": sorted({tray.limits_revision for tray in trays}),
            "fitness": study.fitness,
            "thresholds": study.thresholds,
            "reference": reference,
            "majority": MAJORITY,
            "between": [(f"{a} and {b}", pair) for (a, b), pair in agreement.between.items()],
            "rates_chart": camera_rates_chart(agreement) if agreement.camera_vs else "",
            "blocks": [
                (one, pictured(report_folders, one.key, embed=k < PICTURES_AT_MOST))
                for k, one in enumerate(study.disputes)
            ],
            "planned": planned(reference) if reference else [],
            "pictures_at_most": PICTURES_AT_MOST,
        },
    )


def planned(reference: Pair) -> list[PlannedStudy]:
    """How large a study would have to be, expecting what this one found."""
    (a, b), (c, d) = reference.table
    rejected_share = (b + d) / max(a + b + c + d, 1)
    kappa = reference.kappa.value
    defined = kappa is not None and kappa < 1.0 and 0 < rejected_share < 1
    return [
        PlannedStudy(
            half_width=half_width,
            rejected=pieces_for_half_width(reference.missed.value or 0.0, half_width),
            accepted=pieces_for_half_width(reference.false_alarm.value or 0.0, half_width),
            for_kappa=pieces_for_kappa(kappa, rejected_share, half_width) if defined and kappa is not None else None,
        )
        for half_width in HALF_WIDTHS
    ]


def camera_rates_chart(agreement: Agreement) -> str:
    """Missed pieces and false alarms of the camera against each person, with their intervals.

    Parameters
    ----------
    agreement
        Of camera and people.

    Returns
    -------
    str
        SVG.
    """
    names = list(agreement.camera_vs)
    highest = max(
        (rate.ci[1] for pair in agreement.camera_vs.values() for rate in (pair.missed, pair.false_alarm) if rate.ci),
        default=1.0,
    )
    frame = Frame(
        Axis(
            0.0,
            100 * max(highest, 0.02) * 1.05,
            "% of the pieces that the person rejects or accepts",
        ),
        axis_of_names(names[::-1], ""),
        (720.0, 110.0 + 56.0 * len(names)),
    )
    marks: list[str] = []
    for k, name in enumerate(names[::-1]):
        pair = agreement.camera_vs[name]
        shape: Shape
        for rate, lift, shape in ((pair.missed, 0.16, "disc"), (pair.false_alarm, -0.16, "ring")):
            if rate.value is None or rate.ci is None:
                continue
            marks.append(whiskers(frame, k + lift, 100 * rate.ci[0], 100 * rate.ci[1], flat=True))
            marks.append(dots(frame, _one(100 * rate.value), _one(k + lift), shape=shape, radius=5.0))
    marks.append(legend(frame, [Entry("missed", "disc"), Entry("false alarm", "ring")]))
    return chart(frame, marks, "Missed pieces and false alarms of the camera against each person, with 95 % intervals")


def _one(value: float) -> Array:
    return np.array([value], dtype=np.float64)
