"""Blind rounds: begin one, and judge its pieces without what the camera said."""

from collections.abc import Mapping
from functools import partial
from typing import Any

import streamlit as st

from app.pages.agreement import show_agreement
from app.pages.clock import in_users_zone
from app.pages.server_state import Pass, ServerState, current_server
from app.pages.sign_in import head, nobody_yet
from app.pages.study_lot import read_lot, report_folders, stamped_page, take_away
from app.pages.viewer_component import show_viewer
from app.report import agreement_page, known_words
from app.store import (
    LISTED,
    Blind,
    Choice,
    Draw,
    Wanted,
    blinds,
    draw_pieces,
    given_by_each,
    list_lots,
    looks_of_round,
    lots_of,
    make_blind,
    samples_of,
    second_looks,
    standing,
    stratum_sizes,
)
from app.studies import Thresholds, agree, agreement_table, drifts, json_text, round_size
from app.works import may
from vision.errors import Unusable
from vision.records import Verdict

LOOKS = "looks"  # of the address: findings are looked at, and nothing is judged
LOOKED = "There is no more place to look at. Thank you.\nU goes back to the piece before."
BEGUN = "the round just begun"
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
        chosen = _looking(rounds) if LOOKS in st.query_params else _choose(rounds)
    if who is None:
        nobody_yet(server)
        return
    if chosen is None:
        if _looks(server, who, None):
            return
        st.info(
            "A blind round shows pieces without what the camera said, some of them again, for a study of agreement."
        )
        _own_drift(server, who)
        if may(who.roles, "begin a blind round"):
            _begin(server, who)
        else:
            st.info("Nobody has begun one yet. Whoever has the role `tune` can.")
        return
    whole, given = len(chosen.pieces) * chosen.rounds, given_by_each(server.store, chosen)
    if given.get(who.name, 0) >= whole:
        if not _looks(server, who, chosen):
            _standing(server, chosen, given, whole)
        return
    st.query_params.pop(LOOKS, None)
    show_viewer(
        {
            **_viewer_data(server, who),
            "mode": "blind",
            "blind": chosen.id,
            "empty": {"blind": "You have seen all pieces of this round. Thank you.\nU takes the last verdict back."},
        }
    )


def _looks(server: ServerState, who: Pass, blind: Blind | None) -> bool:
    """Offer to look at findings of a round, or a second time, the camera's word hidden; whether that is under way."""
    waiting = second_looks(server.store, who.name) if blind is None else looks_of_round(server.store, blind, who.name)
    if LOOKS not in st.query_params:
        if not waiting or not may(who.roles, "review"):
            return False
        pieces = "1 piece" if len(waiting) == 1 else f"{len(waiting)} pieces"
        which = f"{pieces} are to be looked at a second time" if blind is None else f"{pieces} of this round"
        if not st.button(f"Say of single places whether they are marks: {which}", key=LOOKS):
            return False
        st.query_params[LOOKS] = "1"
        st.rerun()
    of = {} if blind is None else {"blind": blind.id}
    show_viewer({**_viewer_data(server, who), "mode": "looks", **of, "empty": {"looks": LOOKED}})
    return True


def _looking(rounds: tuple[Blind, ...]) -> Blind | None:
    """The round of which findings are looked at, None for those of the bench; and the way back."""
    if st.button("Back to blind rounds"):
        del st.query_params[LOOKS]
        st.rerun()
    return next((one for one in rounds if one.name == st.query_params.get("round")), None)


def _viewer_data(server: ServerState, who: Pass) -> dict[str, Any]:
    return {
        "pass": server.write_pass(who),
        "inspector": who.name,
        "known_by": known_words(who.identity),
        "may_review": may(who.roles, "review"),
        "wanted": {"order": Wanted().order},
    }


def _choose(rounds: tuple[Blind, ...]) -> Blind | None:
    """The round that is chosen: it stands in the address too, so that it outlives a page that is loaded anew."""
    by_name = {one.name: one for one in rounds}
    if BEGUN in st.session_state:
        st.session_state["blind"] = st.session_state.pop(BEGUN)
    elif "blind" not in st.session_state and st.query_params.get("round") in by_name:
        st.session_state["blind"] = st.query_params["round"]
    name = st.selectbox(
        "Blind round",
        list(by_name),
        index=None,
        placeholder="choose a blind round",
        label_visibility="collapsed",
        key="blind",
    )
    if name is None:
        st.query_params.pop("round", None)
        return None
    if st.query_params.get("round") != name:
        st.query_params["round"] = name
    return by_name.get(name)


def _standing(server: ServerState, blind: Blind, given: Mapping[str, int], whole: int) -> None:
    """How a round stands: who has seen how much; and once all who began it have seen all, how far they agree."""
    st.markdown(
        f"**Blind round {blind.name}**, begun by {blind.made_by}, {in_users_zone(blind.made_at)}: "
        f"{len(blind.pieces)} pieces, each shown {blind.rounds} times."
    )
    st.dataframe([{"": name, "seen": count, "of": whole} for name, count in given.items()], hide_index=True)
    if min(given.values()) < whole:
        st.info("How far people and camera agree is told here once all who began this round have seen all its pieces.")
        return
    for lot, part in lots_of(server.store, blind):
        st.markdown(f"**{f'Lot {lot}' if lot else 'Pieces of no lot'}, {part}**")
        if not lot:
            st.markdown("What stands in no lot is studied by `brightbowl agree --results`.")
            continue
        studied = read_lot(server, lot, part)
        study = agree(studied.lot, samples_of(server.store, lot, part, Choice(blind=blind.name)), Thresholds())
        show_agreement(study)
        take_away(
            f"round-{blind.name}-{lot}",
            stamped_page(server, partial(agreement_page, study, studied.lot.trays, report_folders(server))),
            partial(json_text, agreement_table(study)),
        )


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
                st.session_state[BEGUN] = made.name
                st.rerun()


def _shares(sizes: Mapping[Verdict, int]) -> dict[Verdict, float]:
    """Ask for each stratum's share of the round."""
    shares: dict[Verdict, float] = {}
    for column, (verdict, words, usual) in zip(st.columns(3), STRATA, strict=True):
        label = f"{words} %, of {sizes.get(verdict, 0)}"
        shares[verdict] = column.number_input(label, 0.0, PERCENT, usual, 5.0)
    return shares
