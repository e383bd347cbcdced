"""Blind rounds: begin one, and judge its pieces without what the camera said."""

from collections.abc import Mapping

import streamlit as st

from app.pages.server_state import Pass, ServerState, current_server
from app.pages.sign_in import head, nobody_yet
from app.pages.viewer_component import show_viewer
from app.store import (
    LISTED,
    Blind,
    Draw,
    Wanted,
    blinds,
    draw_pieces,
    list_lots,
    make_blind,
    standing,
    stratum_sizes,
)
from app.studies import drifts, round_size
from app.works import may
from vision.errors import Unusable
from vision.records import Verdict

PIECES_MAX = 5000
ROUNDS_MAX = 10
PERCENT = 100.0
BY_STRATA, AT_RANDOM = "by the camera's verdict", "at random from all"
WHICH = (
    "At random tells most of the false alarms. By the camera's verdict, bad pieces are seen sooner; figures are "
    "weighted by how many pieces each one drawn stands for."
)
STRATA: tuple[tuple[Verdict, str, float], ...] = (
    ("pass", "Passed", 50.0),
    ("review", "In review", 25.0),
    ("reject", "Rejected", 25.0),
)
"""Of each stratum: the camera's verdict, its words, and its usual share of a round, %."""


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
        _own_drift(server, who)
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


def _own_drift(server: ServerState, who: Pass) -> None:
    """What a person's own blind verdicts show over time: to nobody but that person."""
    found = drifts(one for one in standing(server.store, inspector=who.name) if one.blind is not None)
    if not found:
        return
    with st.expander("Your own verdicts over time"):
        rows = [
            {
                "along": one.axis,
                "rejected, first to last quarter": ", ".join(f"{PERCENT * part:.0f} %" for part in one.shares),
                "chance of such a trend without a drift": f"{one.p:.3f}",
            }
            for one in found
        ]
        st.dataframe(rows, hide_index=True)
        st.markdown("Only you see this. The order of pieces is drawn anew for you, so that a trend is not the pieces'.")


def _begin(server: ServerState, who: Pass) -> None:
    st.markdown("**Begin a blind round**")
    left, right = st.columns(2)
    with left:
        lot = st.selectbox(
            "Pieces of lot", [one.lot for one in list_lots(server.store, LISTED)], index=None, placeholder="all lots"
        )
        by_strata = st.radio("Drawn", [BY_STRATA, AT_RANDOM], help=WHICH) == BY_STRATA
    sizes = stratum_sizes(server.store, lot)
    with right:
        bound = st.number_input("Missed, to be shown: at most %", 0.1, 50.0, 2.0, 0.5) / PERCENT
        flagged_bad = st.number_input("Of flagged pieces, bad about %", 1.0, 100.0, 75.0, 5.0) / PERCENT
    st.markdown(round_size(sizes, flagged_bad, bound).words)
    with st.form("begin_blind", width=640):
        name = st.text_input("Name", max_chars=60)
        count = st.number_input("How many pieces", 1, PIECES_MAX, 30)
        shares = _shares(sizes) if by_strata else None
        rounds = st.number_input("How often each is seen", 1, ROUNDS_MAX, 2)
        seed = st.number_input("Seed of draw and order", 0, 2**31 - 1, 1)
        if st.form_submit_button("Begin", type="primary"):
            try:
                drawn = draw_pieces(server.store, Draw(lot, int(count), int(seed), shares))
                made = make_blind(server.store, name, int(seed), int(rounds), drawn, who.name)
            except Unusable as fault:
                st.error(str(fault))
            else:
                st.success(
                    f"{len(made.pieces)} pieces, each seen {made.rounds} times. Choose the round above to judge it."
                )
                st.rerun()


def _shares(sizes: Mapping[Verdict, int]) -> dict[Verdict, float]:
    """Ask for each stratum's share of the round."""
    shares: dict[Verdict, float] = {}
    for column, (verdict, words, usual) in zip(st.columns(3), STRATA, strict=True):
        label = f"{words} %, of {sizes.get(verdict, 0)}"
        shares[verdict] = column.number_input(label, 0.0, PERCENT, usual, 5.0)
    return shares
