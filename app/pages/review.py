"""The bench: one flagged piece at a time, judged by keyboard."""

from dataclasses import asdict
from typing import Any

import streamlit as st

from app.pages.queue_filter import chosen, chosen_before
from app.pages.server_state import Pass, ServerState, current_server
from app.pages.sign_in import head_line, nobody_yet, who_is_here, who_opens
from app.pages.viewer_component import show_viewer
from app.report import known_words
from app.store import Wanted, waiting_count
from app.works import may


def review_page() -> None:
    """Review the queue, or the one piece that the address names (`?piece=TRAY:NUMBER`).

    As it is opened the viewer goes ahead: names and filters are drawn while it fetches its first piece.
    """
    server = current_server()
    asked = st.query_params.get("piece")
    left, right = head_line()
    opening = who_opens(server)
    expected = Wanted() if asked else chosen_before()
    if opening is not None:
        _show(server, opening, expected, asked, ahead=True)
    with right:
        who = who_is_here(server)
    with left:
        wanted = Wanted() if asked else chosen(server)
        if asked and st.button("Back to the queue"):
            del st.query_params["piece"]
            st.rerun()
    if opening is not None:
        if (who, wanted) != (opening, expected):
            st.rerun()
    elif who is None:
        nobody_yet(server)
    else:
        _show(server, who, wanted, asked)


def _show(server: ServerState, who: Pass, wanted: Wanted, asked: str | None, *, ahead: bool = False) -> None:
    """The viewer, for the queue or the one piece asked for; `ahead` of the rest: that waits for its first call."""
    written = server.write_pass(who)
    data: dict[str, Any] = {
        "pass": written,
        "inspector": who.name,
        "known_by": known_words(who.identity),
        "may_review": may(who.roles, "review"),
        "wanted": asdict(wanted),
        "ahead": ahead,
        "empty": {"queue": _nothing(wanted), "one": f"There is no piece {asked} in the store.", "done": _DONE},
    }
    if asked:
        tray, _, number = asked.rpartition(":")
        data |= {"mode": "one", "one": {"tray": tray, "piece": int(number) if number.isdecimal() else 0}}
    else:
        data |= {"mode": "queue"}
    show_viewer(data)
    if ahead:
        server.await_pieces(written)


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
