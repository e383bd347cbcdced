"""The bench: one flagged piece at a time, judged by keyboard."""

from dataclasses import asdict

import streamlit as st

from app.pages.queue_filter import chosen
from app.pages.server_state import current_server
from app.pages.sign_in import head, nobody_yet
from app.pages.viewer_component import show_viewer
from app.report import known_words
from app.store import Wanted, waiting_count
from app.works import may


def review_page() -> None:
    """Review the queue, or the one piece that the address names (`?piece=TRAY:NUMBER`)."""
    server = current_server()
    asked = st.query_params.get("piece")
    left, who = head(server)
    with left:
        wanted = Wanted() if asked else chosen(server)
        if asked and st.button("Back to the queue"):
            del st.query_params["piece"]
            st.rerun()
    if who is None:
        nobody_yet(server)
        return
    data = {
        "pass": server.write_pass(who),
        "inspector": who.name,
        "known_by": known_words(who.identity),
        "may_review": may(who.roles, "review"),
        "wanted": asdict(wanted),
        "empty": {"queue": _nothing(wanted), "one": f"There is no piece {asked} in the store.", "done": _DONE},
    }
    if asked:
        tray, _, number = asked.rpartition(":")
        show_viewer({**data, "mode": "one", "one": {"tray": tray, "piece": int(number) if number.isdecimal() else 0}})
    else:
        show_viewer({**data, "mode": "queue"})


_DONE = "Recorded.\nGo back to the queue above, or press U to take it back."


def _nothing(wanted: Wanted) -> str:
    """What to say when the queue is at its end."""
    if wanted == Wanted(order=wanted.order):
        return (
            "Nothing is waiting: every flagged piece has a verdict.\n"
            "More come when trays are inspected: brightbowl inspect SHOTS --works WORKS"
        )
    all_of_them = waiting_count(current_server().store, Wanted())
    return f"Nothing is waiting among the pieces chosen; {all_of_them} wait in all.\nWiden the choice above."
