"""What a wider guard band buys: bad pieces that pass, good ones rejected, and review, over its width."""

import numpy as np

from app.report.charts import Entry, Frame, axis_of, chart, legend, line, upright
from app.report.study_page import render
from app.report.style import ACCENT, INK, MUTED
from app.statistics import Estimate
from app.studies import LimitCapability, LimitRisk, LotRisks

PERCENT = 100.0


def risk_chart(risk: LimitRisk) -> str:
    """Shares of all pieces over the guard band's width, with the width in force.

    Parameters
    ----------
    risk
        Of one limit.

    Returns
    -------
    str
        SVG.
    """
    guard = np.array([one.guard for one in risk.curve])
    drawn = {
        "pass and are bad": (np.array([one.consumer for one in risk.curve]), ACCENT, ""),
        "rejected and good": (np.array([one.producer for one in risk.curve]), INK, ""),
        "for review": (np.array([one.reviewed for one in risk.curve]), MUTED, "8 4"),
    }
    seen = [0.0, *(PERCENT * share.max() for share, _, _ in drawn.values())]
    frame = Frame(
        axis_of([0.0, float(guard.max())], "width of the guard band, standard uncertainties"),
        axis_of(seen, "of all pieces, %"),
    )
    marks = [line(frame, guard, PERCENT * share, colour=colour, dash=dash) for share, colour, dash in drawn.values()]
    marks.append(upright(frame, risk.now.guard, "now", dash="4 4"))
    entries = [Entry(name, colour=colour, dash=dash) for name, (_, colour, dash) in drawn.items()]
    return chart(frame, [*marks, legend(frame, entries)], f"What a wider guard band buys: {risk.name}")


def risk_words(risk: LimitRisk) -> str:
    """The risks at the width in force, in a line.

    Parameters
    ----------
    risk
        Of one limit.

    Returns
    -------
    str
        A line.
    """
    now = risk.now
    return (
        f"{risk.name}: {risk.bad:.2%} of {risk.pieces} pieces are bad by the lot's own distribution; "
        f"{now.consumer:.2%} pass and are bad, {now.producer:.2%} are rejected and good, "
        f"{now.reviewed:.2%} go to review; "
        f"the least sure that passes is bad with a chance of {now.worst:.2f}"
    )


def capability_row(one: LimitCapability) -> dict[str, str]:
    """A limit's indices in words, as a line of a table.

    Parameters
    ----------
    one
        Of one limit.

    Returns
    -------
    dict[str, str]
        Texts by column.
    """
    found = one.found
    said = ["alike" if found.steady else "differ: Cp, Cpk speak of a tray alone"]
    if found.likeness is not None:
        said.append(f"one like the next by {found.likeness:.2f}")
    if found.why:
        said.append(found.why)
    return {
        "limit": one.name,
        "pieces": str(one.pieces),
        "Cp": figure_words(found.cp),
        "Cpk": figure_words(found.cpk),
        "Pp": figure_words(found.pp),
        "Ppk": figure_words(found.ppk),
        "trays": ", ".join(said),
    }


def risks_html(found: LotRisks) -> str:
    """Risks and capability as a part of a page."""
    return render(
        "risks.html",
        {
            "found": found,
            "words": f"At the width in force, {risk_words(found.risks[0])}" if found.risks else "",
            "chart": risk_chart(found.risks[0]) if found.risks else "",
            "rows": [capability_row(one) for one in found.capability],
        },
    )


def figure_words(figure: Estimate) -> str:
    """An index with its interval, or without where none holds; a dash where it is not defined."""
    if figure.value is None:
        return "–"
    if figure.ci is None:
        return f"{figure.value:.2f}, no interval".replace("-", "−")
    return f"{figure.value:.2f} ({figure.ci[0]:.2f} to {figure.ci[1]:.2f})".replace("-", "−")
