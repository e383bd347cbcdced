"""The report of a part's dies: wear, strokes left, control charts, and marks that come back at one place."""

from dataclasses import dataclass
from math import isfinite
from typing import Any

from app.report.die_charts import control_charts, letter, places_picture, rate_words, trend_chart, wear_map_picture
from app.report.study_page import render
from app.statistics import Place, SamePlace
from app.store import PartHistory
from app.studies import PER_STROKES, DieStudy, DieWear, WearMap
from vision.records import Array, Part

PIECES_NAMED = 8


@dataclass(frozen=True, slots=True, eq=False)
class DieReport:
    """A part's history and what was found in it."""

    history: PartHistory
    study: DieStudy


def left_words(wear: DieWear) -> str:
    """How many strokes are left, in words.

    Parameters
    ----------
    wear
        Of one die.

    Returns
    -------
    str
        A clause, in strokes.
    """
    if wear.limit_mm is None or wear.left is None:
        return "no limit is set for this zone" if wear.trend is not None else "too few trays to tell"
    limit = f"{wear.limit_mm:+.3f} mm".replace("-", "−")
    match wear.left.word:
        case "told":
            assert wear.left.left is not None
            assert wear.left.ci is not None
            low, high = wear.left.ci
            far = f"{_round(high)}" if high < float("inf") else "no end"
            return f"about {_round(wear.left.left)} strokes until {limit} ({_round(low)} to {far}, one more tray, 95 %)"
        case "already reached":
            return f"the limit of {limit} is reached already"
        case "too few trays":
            return "too few trays since the last change to tell"
        case "no wear seen":
            return "no wear is seen: the rate's interval holds zero"
        case "too far to tell":
            return f"further off than twice the strokes seen: nothing is told of {limit}"


def _round(strokes: float) -> str:
    return f"{round(max(strokes, 0.0), -3):,.0f}".replace(",", " ")


def break_words(wear: DieWear) -> str:
    """Where the trend breaks, in words.

    Parameters
    ----------
    wear
        Of one die.

    Returns
    -------
    str
        A clause, in strokes.
    """
    if not wear.breaks:
        return "no regrind or other change is seen"
    return "changes near " + ", ".join(f"{_round(at)}" for at in wear.breaks) + " strokes"


def die_page(report: DieReport) -> str:
    """The report as HTML that stands alone.

    Parameters
    ----------
    report
        History and study of a part's dies.

    Returns
    -------
    str
        HTML.
    """
    history, study = report.history, report.study
    blocks = []
    for wear in study.dies:
        charts = study.charts.get(wear.history.die)
        drawn = [] if charts is None else [svg for svg, _ in control_charts(charts)]
        worn = wear.map is not None and bool(wear.map.worn.any())
        blocks.append(
            {
                "wear": wear,
                "rate": rate_words(wear),
                "breaks": break_words(wear),
                "left": left_words(wear),
                "trend": trend_chart(wear),
                "map": wear_map_picture(wear, history.part) if worn else "",
                "charts": drawn,
            }
        )
    return render(
        "die.html",
        {
            "history": history,
            "blocks": blocks,
            "same": same_place_html(study.same, history.part),
            "per": f"{PER_STROKES:,.0f}".replace(",", " "),
        },
    )


def same_place_html(found: SamePlace, part: Part) -> str:
    """The places as a drawing and a table: part of a report of dies, or of a lot."""
    picture = places_picture(list(found.places), part) if found.places else ""
    return render(
        "same_place.html",
        {
            "places": [(letter(k), place, pieces_words(place)) for k, place in enumerate(found.places)],
            "elsewhere": {kind: count for kind, count in found.elsewhere.items() if count},
            "pieces": sum(found.pieces.values()),
            "picture": picture,
        },
    )


def pieces_words(place: Place) -> str:
    """The first pieces that bear the mark."""
    named = ", ".join(f"{tray}:{piece}" for tray, piece in place.pieces[:PIECES_NAMED])
    return named + (", ..." if len(place.pieces) > PIECES_NAMED else "")


def die_table(report: DieReport) -> dict[str, Any]:
    """`die.json`.

    Parameters
    ----------
    report
        History and study of a part's dies.

    Returns
    -------
    dict[str, Any]
        The table, ready for `json_text`.
    """
    return {
        "format": 1,
        "part": report.history.part.part,
        "lot": report.history.lot,
        "dies": [_wear_table(wear) for wear in report.study.dies],
        "pieces": dict(report.history.pieces_by_die),
        "same_place": [
            {
                "kind": place.kind,
                "center_mm": [place.x_mm, place.y_mm],
                "pieces": [list(one) for one in place.pieces],
                "by_die": dict(place.by_die),
                "p": place.p,
                "die": place.die,
                "origin": place.origin,
            }
            for place in report.study.same.places
        ],
        "elsewhere": dict(report.study.same.elsewhere),
    }


def _wear_table(wear: DieWear) -> dict[str, Any]:
    trend, left = wear.trend, wear.left
    return {
        "die": wear.history.die,
        "trays": len(wear.history.trays),
        "strokes": [float(wear.history.strokes[0]), float(wear.history.strokes[-1])],
        "zone": wear.zone,
        "changes_at_strokes": list(wear.breaks),
        "trays_since_last_change": len(wear.history.trays) - wear.since,
        "rate_mm_per_stroke": None if trend is None else {"value": trend.slope, "ci": list(trend.slope_ci)},
        "likeness": None if trend is None else trend.likeness,
        "steps": []
        if trend is None
        else [{"name": one.name, "height_mm": one.height, "ci": list(one.ci)} for one in trend.steps],
        "limit_mm": wear.limit_mm,
        "strokes_left": None
        if left is None
        else {
            "told": left.word,
            "value": left.left,
            "ci": None if left.ci is None else [end if end < float("inf") else None for end in left.ci],
        },
        "worn_share_of_outline": None if wear.map is None else float(wear.map.worn.mean()),
        "wear_map": None if wear.map is None else _map_table(wear.history.s_mm, wear.map),
    }


def _map_table(s_mm: Array, found: WearMap) -> dict[str, Any]:
    rate, error = (
        [round(value, 6) if isfinite(value) else None for value in of.tolist()]
        for of in (found.rate_mm, found.error_mm)
    )
    return {
        "per_strokes": PER_STROKES,
        "s_mm": [round(place, 3) for place in s_mm.tolist()],
        "rate_mm": rate,
        "standard_error_mm": error,
        "worn": found.worn.tolist(),
    }
