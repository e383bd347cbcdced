"""The dies of a part: how they wear, how many strokes are left, and marks that come back at one place."""

import streamlit as st

from app.pages.server_state import Pass, ServerState, current_server
from app.pages.sign_in import head, nobody_yet
from app.pages.study_lot import show_chart, show_pieces, stamped_page, take_away
from app.report import (
    DieReport,
    break_words,
    control_charts,
    die_page,
    die_table,
    left_words,
    letter,
    places_picture,
    rate_words,
    trend_chart,
    wear_map_picture,
)
from app.store import known_parts
from app.studies import DieWear, PieceKey, json_text
from vision.errors import Unusable


def dies_page() -> None:
    """Show the dies of a part."""
    server = current_server()
    left, who = head(server)
    parts = known_parts(server.store)
    with left:
        part = st.selectbox("Part", parts, key="die_part", label_visibility="collapsed") if parts else None
    if who is None:
        nobody_yet(server)
        return
    if part is None:
        st.info("The store holds no part yet. Inspect trays into it: brightbowl inspect SHOTS --works WORKS")
        return
    try:
        report, up_to_date = server.dies.at_hand(server.store, part)
    except Unusable as fault:
        st.error(str(fault))
        return
    if not up_to_date:
        _wait(server, part)
    if report is None:
        return
    _dies(report)
    _places(server, report, who)
    take_away(f"dies-{part}", stamped_page(server, lambda: die_page(report)), lambda: json_text(die_table(report)))


@st.fragment(run_every=1.0)
def _wait(server: ServerState, part: str) -> None:
    """Say that more is being read, and show it once it is there."""
    report, up_to_date = server.dies.at_hand(server.store, part)
    if up_to_date:
        st.rerun()
    if report is None:
        st.info("The dies are being read for the first time since the server was started; they are shown as they come.")
    else:
        st.markdown("Trays were filed since; they are being read and are shown as they come.")


def _dies(report: DieReport) -> None:
    dies = report.study.dies
    if not dies:
        st.info(
            "No die has two trays that say its strokes. Name `die` and `strokes` under `process` in shot.json, then "
            "its wear can be followed."
        )
        return
    rows = [
        {
            "die": wear.history.die,
            "trays": len(wear.history.trays),
            "strokes": f"{wear.history.strokes[-1]:,.0f}".replace(",", " "),
            "zone": wear.zone,
            "rate": rate_words(wear),
            "changes": break_words(wear),
            "left": left_words(wear),
        }
        for wear in dies
    ]
    st.dataframe(rows, hide_index=True)
    by_name = {wear.history.die: wear for wear in dies}
    name = st.selectbox("Die", list(by_name), key="die_chosen", width=320)
    if name is not None:
        _die(report, by_name[name])


def _die(report: DieReport, wear: DieWear) -> None:
    st.markdown(f"**Die {wear.history.die}: {left_words(wear)}**")
    left, right = st.columns([0.5, 0.5])
    with left:
        show_chart(trend_chart(wear), f"Deviation of die {wear.history.die} against strokes, with its trend")
    with right:
        if wear.map is not None and wear.map.worn.any():
            show_chart(wear_map_picture(wear, report.history.part), "Wear along the outline, drawn larger")
            st.markdown("Millimetres in 100 000 strokes, drawn larger: outward filled, inward hatched.")
        else:
            st.markdown("No place of the outline is worn beyond chance.")
    charts = report.study.charts.get(wear.history.die)
    if charts is None:
        return
    drawn = control_charts(charts)
    for first in range(0, len(drawn), 3):
        for column, (svg, words) in zip(st.columns(3), drawn[first : first + 3], strict=False):
            with column:
                show_chart(svg, words)


def _places(server: ServerState, report: DieReport, who: Pass) -> None:
    found = report.study.same
    st.markdown("**Marks that come back at one place**")
    if found.places:
        left, right = st.columns([0.5, 0.5])
        with left:
            show_chart(places_picture(list(found.places), report.history.part), "Places where marks come back")
        with right:
            rows = [
                {
                    "": letter(k),
                    "mark": place.kind,
                    "x, y, mm": f"{place.x_mm:.1f}, {place.y_mm:.1f}",
                    "pieces": len(place.pieces),
                    "likely origin": place.origin,
                }
                for k, place in enumerate(found.places)
            ]
            st.dataframe(rows, hide_index=True)
        chosen = st.selectbox(
            "Show the pieces of one place", range(len(found.places)), index=None,
            format_func=lambda k: f"{letter(k)}: {found.places[k].kind}", placeholder="choose a place",
        )  # fmt: skip
        if chosen is not None:
            place = found.places[chosen]
            show_pieces(server, [(PieceKey(tray, piece), place.kind) for tray, piece in place.pieces], who)
    else:
        st.markdown("No mark comes back at one place of the drawing more often than chance would have it.")
    anywhere = [f"{count} {kind}" for kind, count in found.elsewhere.items() if count]
    if anywhere:
        st.markdown(f"Anywhere, likely from handling: {', '.join(anywhere)}.")
