"""A station's checks: may it go on, how its values drift, and which trays are to be judged again."""

from collections.abc import Sequence
from dataclasses import asdict

import streamlit as st

from app.pages.clock import in_users_zone
from app.pages.server_state import Pass, ServerState, current_server
from app.pages.sign_in import head, nobody_yet
from app.pages.study_lot import piece_link, show_chart
from app.report import check_chart, histories, since_calibration, why_stopped
from app.store import (
    Check,
    challenges,
    checked_stations,
    light_history,
    light_limits,
    station_checks,
    suspect_trays,
)
from app.studies import PieceKey

ROWS = 200
LIGHT_ROWS = 50
LIGHT_WORDS = {
    "level_min": "backlight at least",
    "level_max": "backlight at most",
    "full_max": "pixels at full scale at most",
    "darkest_min": "darkest part at least",
    "blur_max_px": "edge blur at most",
}
WORDS = {"pass": "✓ passed", "stop": "✗ stopped"}


def station_page() -> None:
    """Show one station's checks."""
    server = current_server()
    left, who = head(server)
    stations = checked_stations(server.store)
    with left:
        station = st.selectbox("Station", stations, key="station", label_visibility="collapsed") if stations else None
    if who is None:
        nobody_yet(server)
        return
    if station is None:
        st.info(
            "No station was checked yet. Each shift, lay the reference piece alone on the tray, photograph it and run: "
            "brightbowl check SHOT --works WORKS"
        )
        return
    checks = station_checks(server.store, station)
    since = since_calibration(checks)
    _state(station, checks, since)
    _suspect(server, station, who)
    charts = [(history.measure, check_chart(history)) for history in histories(since)]
    for start in range(0, len(charts), 2):
        for column, (measure, svg) in zip(st.columns(2), charts[start : start + 2], strict=False):
            with column:
                show_chart(svg, f"Deviations of {measure} at each check since calibration")
    _table(checks)
    _challenges(server, station)
    _light(server, station)


def _state(station: str, checks: Sequence[Check], since: Sequence[Check]) -> None:
    last = checks[-1]
    one, two, three = st.columns(3)
    one.metric("Last check", WORDS[last.verdict])
    two.metric("When", in_users_zone(last.checked_at))
    three.metric("Checks since calibration", len(since))
    if last.verdict == "stop":
        why = "; ".join(why_stopped(last))
        st.error(
            f"{station} must not go on: {why}. Clean the reference piece and the glass and check again; "
            "if it stops again, calibrate."
        )


def _suspect(server: ServerState, station: str, who: Pass) -> None:
    trays = [tray for tray in suspect_trays(server.store) if tray.station == station]
    if not trays:
        st.markdown("No tray of this station is to be judged again.")
        return
    count = f"1 tray of {station} was" if len(trays) == 1 else f"{len(trays)} trays of {station} were"
    more = f" The first {ROWS} are listed." if len(trays) > ROWS else ""
    st.warning(
        f"{count} taken between the last good check and the next: photograph again, or judge again by a calibration "
        f"that holds for them.{more}"
    )
    rows = [
        {
            "open": piece_link(PieceKey(tray.tray, 1), who),
            "tray": tray.tray,
            "lot": tray.lot or "",
            "taken at": in_users_zone(tray.taken_at) if tray.taken_at else "",
        }
        for tray in trays[:ROWS]
    ]
    link = st.column_config.LinkColumn("open", display_text="open", width="small")
    st.dataframe(rows, hide_index=True, column_config={"open": link})


def _table(checks: Sequence[Check]) -> None:
    rows = [
        {
            "checked at": in_users_zone(check.checked_at),
            "outcome": WORDS[check.verdict],
            "why": "; ".join(why_stopped(check)),
            "reference piece": check.reference,
            "calibration": check.calibration[:8],
        }
        for check in reversed(checks[-ROWS:])
    ]
    st.dataframe(rows, hide_index=True, column_config={"why": st.column_config.TextColumn("why", width="large")})


def _challenges(server: ServerState, station: str) -> None:
    st.subheader("Challenges")
    found = challenges(server.store, station)
    if not found:
        st.markdown(
            f"{station} was never challenged. Each shift, after the check, run: brightbowl challenge SHOT --works WORKS"
        )
        return
    rows = [
        {
            "challenged at": in_users_zone(one.at),
            "outcome": WORDS[one.verdict],
            "by": one.by,
            "part": one.part,
            "tray": one.tray,
            "what": ", ".join(one.asked),
            "pieces": one.pieces,
            "not rejected": "; ".join(one.missed),
        }
        for one in reversed(found[-ROWS:])
    ]
    st.dataframe(rows, hide_index=True)


def _light(server: ServerState, station: str) -> None:
    st.subheader("Light and sharpness")
    limits = light_limits(server.store, station)
    kept = {} if limits is None else {key: value for key, value in asdict(limits).items() if value is not None}
    if kept:
        named = [
            f"{LIGHT_WORDS[key]} {value:g} px" if key.endswith("_px") else f"{LIGHT_WORDS[key]} {value:.4g}"
            for key, value in kept.items()
        ]
        st.markdown("Limits (shares of full scale): " + ", ".join(named) + ".")
    else:
        st.markdown(f"{station} has no limits on light of its own; `brightbowl sensor` proposes some.")
    records = light_history(server.store, station, LIGHT_ROWS)
    if not records:
        st.markdown("No tray had anything amiss with its light or sharpness.")
        return
    rows = [
        {
            "tray": one.tray,
            "taken at": in_users_zone(one.taken_at) if one.taken_at else "",
            "what": one.kind,
            "said": one.detail,
        }
        for one in records
    ]
    st.dataframe(rows, hide_index=True, column_config={"said": st.column_config.TextColumn("said", width="large")})
