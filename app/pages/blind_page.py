"""Blind rounds: begin one, and judge its pieces without what the camera said."""

import streamlit as st

from app.pages.server_state import Pass, ServerState, current_server
from app.pages.sign_in import head, nobody_yet
from app.pages.viewer_component import show_viewer
from app.store import Blind, Wanted, blinds, list_lots, make_blind, sample_pieces
from app.works import may
from vision.errors import Unusable

PIECES_MAX = 500
ROUNDS_MAX = 10


def blind_page() -> None:
    """Choose a blind round and judge it."""
    server = current_server()
    left, who = head(server)
    rounds = blinds(server.store)
    with left:
        chosen = _choose(rounds)
    if who is None:
        nobody_yet(server)
        return
    if chosen is None:
        st.info(
            "A blind round shows pieces without what the camera said, some of them again, for a study of agreement."
        )
        if may(who.roles, "begin a blind round"):
            _begin(server, who)
        else:
            st.info("Nobody has begun one yet. Whoever has the role `tune` can.")
        return
    show_viewer(
        {
            "pass": server.write_pass(who),
            "inspector": who.name,
            "may_review": may(who.roles, "review"),
            "wanted": {"order": Wanted().order},
            "mode": "blind",
            "blind": chosen.id,
            "empty": {
                "blind": "You have seen all pieces of this round. Thank you.\nThe study is made by: brightbowl agree"
            },
        }
    )


def _choose(rounds: tuple[Blind, ...]) -> Blind | None:
    by_name = {one.name: one for one in rounds}
    name = st.selectbox(
        "Blind round",
        list(by_name),
        index=None,
        placeholder="choose a blind round",
        label_visibility="collapsed",
        key="blind",
    )
    return by_name.get(name) if name is not None else None


def _begin(server: ServerState, who: Pass) -> None:
    with st.form("begin_blind", width=640):
        st.markdown("**Begin a blind round**")
        name = st.text_input("Name", max_chars=60)
        lot = st.selectbox(
            "Pieces of lot", [one.lot for one in list_lots(server.store)], index=None, placeholder="all lots"
        )
        count = st.number_input("How many pieces (half of them flagged)", 1, PIECES_MAX, 30)
        rounds = st.number_input("How often each is seen", 1, ROUNDS_MAX, 2)
        seed = st.number_input("Seed of the order", 0, 2**31 - 1, 1)
        if st.form_submit_button("Begin", type="primary"):
            try:
                made = make_blind(
                    server.store,
                    name,
                    int(seed),
                    int(rounds),
                    sample_pieces(server.store, lot, int(count), int(seed)),
                    who.name,
                )
            except Unusable as fault:
                st.error(str(fault))
            else:
                st.success(
                    f"{len(made.pieces)} pieces, each seen {made.rounds} times. Choose the round above to judge it."
                )
                st.rerun()
