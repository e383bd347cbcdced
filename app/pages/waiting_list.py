"""The queue as a table: what waits, in order, each piece with a link that opens just it."""

from urllib.parse import urlencode

import streamlit as st

from app.pages.clock import in_users_zone
from app.pages.queue_filter import chosen
from app.pages.server_state import Pass, ServerState, current_server
from app.pages.sign_in import head, nobody_yet
from app.store import Wanted, suspect_trays, waiting, waiting_count

ROWS = 200
COUNTED_EVERY_S = 1.0


def waiting_page() -> None:
    """List the queue."""
    server = current_server()
    left, who = head(server)
    with left:
        wanted = chosen(server)
    if who is None:
        nobody_yet(server)
        return
    _listed(server, wanted, who)


@st.fragment(run_every=COUNTED_EVERY_S)
def _listed(server: ServerState, wanted: Wanted, who: Pass) -> None:
    """The list and its count, read anew again and again while the page is open."""
    count = waiting_count(server.store, wanted)
    if not count:
        st.info("Nothing is waiting among the pieces chosen. Widen the choice, or inspect more trays.")
        return
    st.markdown(f"**{count} pieces wait**" + (f"; the first {ROWS} are listed." if count > ROWS else "."))
    listed = waiting(server.store, wanted, ROWS)
    suspect = {tray.tray for tray in suspect_trays(server.store, among=[one.tray for one in listed])}
    rows = [
        {
            "open": f"./?{urlencode({'piece': f'{one.tray}:{one.piece}', 'who': who.name})}",
            "tray": one.tray,
            "piece": one.piece,
            "camera": one.verdict,
            "class": one.severity,
            "part": one.part,
            "lot": one.lot,
            "die": one.die,
            "taken at": in_users_zone(one.taken_at) if one.taken_at else "",
            "in hand": one.held_by or "",
            "in doubt": "✗ judge again" if one.tray in suspect else "",
        }
        for one in listed
    ]
    link = st.column_config.LinkColumn("open", display_text="open", width="small")
    st.dataframe(rows, hide_index=True, column_config={"open": link}, height=560)
