"""A lot: what became of its pieces and why, where and when; whether it may be packed, and who said so."""

from collections.abc import Sequence

import streamlit as st

from app.pages.clock import in_users_zone
from app.pages.server_state import Pass, ServerState, current_server
from app.pages.sign_in import head, nobody_yet, say_kept_as
from app.pages.study_lot import (
    lot_pairs,
    news,
    report_folders,
    show_chart,
    show_pieces,
    stamped_page,
    take_away,
    works_folder,
)
from app.report import (
    NAMED,
    LotReport,
    decision_words,
    escapes_words,
    first_reason_words,
    lot_limits_words,
    lot_page,
    lot_report,
    lot_table,
    measure_row,
    next_words,
    over_time_chart,
    sample_words,
    share,
    shares_chart,
    whose_words,
    yield_words,
)
from app.statistics import AQLS
from app.store import LotState, Wish, Word, decide_as_it_stands, lot_state, series_up_to
from app.studies import Acceptance, PieceKey, Share, accept_series, json_text
from app.works import why_not
from vision.errors import Unusable

USUAL_AQL = 1.0
_SIGNS = {"open": "•", "released": "✓", "held": "✗"}


def lots_page() -> None:
    """Show a lot, and take decisions on it."""
    server = current_server()
    left, who = head(server)
    with left:
        known = lot_pairs(server, "lot_older")
        picked = (
            st.selectbox(
                "Lot",
                known[::-1],
                format_func=lambda pair: f"{pair[0]}, {pair[1]}",
                key="lot_chosen",
                label_visibility="collapsed",
            )
            if known
            else None
        )
    if who is None:
        nobody_yet(server)
        return
    if picked is None:
        st.info("The store holds no lot yet. Inspect trays into it: brightbowl inspect SHOTS --works WORKS")
        return
    state = _state(server, *picked, news(server))
    shown = st.session_state.get("lot_shown", state)  # by the run before: whoever clicks now clicked in sight of that
    st.session_state["lot_shown"] = state
    aql = st.session_state.get("lot_aql", USUAL_AQL)
    series = accept_series(series_up_to(server.store, state), aql) if state.size is not None else ()
    _head(state)
    if series:
        _sample(series[-1], aql)
    else:
        st.markdown(escapes_words(state.figures.escapes))
    _decisions(server, state, shown if (shown.lot, shown.part) == picked else state, series, who)
    _reasons(server, state, who)
    _where_and_when(state)
    _measures(state)

    def report() -> LotReport:
        return lot_report(server.store, state, series, aql, works_folder(server))

    take_away(
        f"lot-{state.lot}",
        stamped_page(server, lambda: lot_page(report(), report_folders(server))),
        lambda: json_text(lot_table(report())),
    )


@st.cache_resource(max_entries=8, show_spinner="Reading the lot …")
def _state(_server: ServerState, lot: str, part: str, filed: int) -> LotState:  # noqa: ARG001 - it is only a key
    """The lot; read again once more is `filed` (see `news`; a name without an underscore, or it would be no key)."""
    return lot_state(_server.store, lot, part)


def _head(state: LotState) -> None:
    figures = state.figures
    one, two, three, four = st.columns(4)
    one.metric("State", f"{'⚠' if state.came_after else _SIGNS[state.word]} {state.word}")
    if state.came_after:
        late = f" Filed since: {', '.join(state.late_trays)}." if state.late_trays else ""
        st.warning(f"{state.standing.capitalize()}. Nobody has released or held it since.{late}")
    for words in lot_limits_words(state.content.limits):
        st.warning(words)
    two.metric("To packing, pieces", f"{figures.to_packing} of {figures.pieces}")
    found = figures.yielded
    ends = [] if found is None else sorted({f"{100 * found.least:.1f}", f"{100 * found.most:.1f}"}, key=float)
    three.metric("Yield", f"{' to '.join(ends)} %" if ends else "–")
    four.metric("Waiting for review, pieces", figures.fates["waiting"])
    st.markdown(
        f"{figures.trays} trays, yield {yield_words(figures.yielded)}. "
        f"Passed by the camera {figures.fates['passed']}, flagged and accepted by a person "
        f"{figures.fates['accepted']}, rejected by a person {figures.fates['rejected']}, rejected by the camera and "
        f"not seen by a person {figures.fates['sorted out']}."
    )
    if state.suspect:
        trays = ", ".join(tray.tray for tray in state.suspect)
        st.error(f"To be judged again, since the station failed its check: {trays}")


def _sample(found: Acceptance, aql: float) -> None:
    st.selectbox("Acceptance quality limit, % bad", AQLS, index=AQLS.index(USUAL_AQL), key="lot_aql", width=320)
    show = {"accepted": st.success, "not accepted": st.error, "stopped": st.error}.get(found.outcome, st.warning)
    words = sample_words(found, aql)
    show(f"**{found.outcome}** by sample (ISO 2859-1): {words}. The next lot: {next_words(found)}.")


def _decisions(server: ServerState, state: LotState, shown: LotState, series: Sequence[Acceptance], who: Pass) -> None:
    for one in state.decisions:
        seen = f"{one.seen['to_packing']} of {one.seen['pieces']} pieces to packing then"
        by = f"{whose_words(one.given_by, one.identity)}, {in_users_zone(one.given_at)}"
        st.markdown(f"**{decision_words(one)}** by {by}: {one.why} ({seen})")
    not_listed = why_not(server.works, who.name, who.roles, "decide on a lot")
    if not_listed:
        st.markdown(f"You can't decide on lots: {not_listed}.")
        return
    labels: dict[Word, str] = {"release": "Release", "hold": "Hold"}
    labels |= {one: f"Next lot {one}" for one in (series[-1].may_begin if series else ())}
    with st.form("decide", border=False):
        why_column, leave_column = st.columns([0.7, 0.3], vertical_alignment="bottom")
        why = why_column.text_input("Why", max_chars=300)
        leave = leave_column.checkbox("Waiting pieces stay out of packing")
        missing = st.empty()
        columns = st.columns([0.18] * len(labels) + [1.0 - 0.18 * len(labels)])
        pressed: list[Word] = [
            word
            for column, (word, label) in zip(columns, labels.items(), strict=False)
            if column.form_submit_button(label, width="stretch")
        ]
    say_kept_as(who)
    if not pressed:
        return
    if not why.strip():
        missing.error("Say why above: the reason is kept with the decision.")
        return
    hours = None if server.works is None else server.works.challenge_hours
    aql = st.session_state.get("lot_aql", USUAL_AQL)
    try:
        wish = Wish((pressed[0],), who.acted(why), leave, aql, challenge_hours=hours)
        decide_as_it_stands(server.store, state.lot, state.part, wish, shown)
    except Unusable as fault:
        st.error(f"Nothing was recorded: {fault.found or fault}. What stands now is shown above.")
        return
    st.rerun()


def _reasons(server: ServerState, state: LotState, who: Pass) -> None:
    reasons = state.figures.reasons
    st.markdown("**Why pieces did not pass**")
    if not reasons:
        st.success("Every piece passed.")
        return
    left, right = st.columns([0.5, 0.5])
    with left:
        worded = [Share(first_reason_words(one.name), one.count, one.of, one.share) for one in reasons]
        show_chart(shares_chart(worded, "First reasons"), "First reasons by number of pieces, with 95 % intervals")
    with right:
        rows = [
            {"reason": first_reason_words(one.name), "pieces": one.count, "% of the lot": share(one.share)}
            for one in reasons
        ]
        st.dataframe(rows, hide_index=True)
    if state.figures.named:
        show_chart(shares_chart(state.figures.named, NAMED), f"{NAMED}, by number of pieces, with 95 % intervals")
    chosen = st.selectbox(
        "Show the pieces of one reason", [one.name for one in reasons], index=None, format_func=first_reason_words,
        placeholder="choose a reason",
    )  # fmt: skip
    if chosen is not None:
        found = [p for p in state.content.pieces if p.reason == chosen and p.verdict != "pass"]
        words = [(PieceKey(p.tray, p.piece), f"{p.verdict}; {state.fates[PieceKey(p.tray, p.piece)]}") for p in found]
        show_pieces(server, words, who)


def _where_and_when(state: LotState) -> None:
    figures = state.figures
    charts = [
        (shares_chart(one.groups, f"By {one.name}"), f"Share not passed by {one.name}", f"By {one.name}")
        for one in figures.groupings
    ]
    if figures.over_time is not None:
        charts.append((over_time_chart(figures.over_time), "Share not passed over time, with limits", "Over time"))
    for start in range(0, len(charts), 2):
        for column, (svg, words, title) in zip(st.columns(2), charts[start : start + 2], strict=False):
            with column:
                st.markdown(f"**{title}**")
                show_chart(svg, words)


def _measures(state: LotState) -> None:
    st.markdown("**Measures** (expanded uncertainty of a single piece's value, k = 2)")
    st.dataframe([measure_row(one) for one in state.content.measures], hide_index=True)
