"""Limits on the page *Tuning*: a draft kept, released, and two revisions side by side."""

from collections.abc import Sequence

import streamlit as st

from app.pages.clock import in_users_zone
from app.pages.server_state import Pass, ServerState
from app.pages.sign_in import say_kept_as
from app.pages.study_lot import StudyLot
from app.report import share, whose_words
from app.store import Revision, file_limits, part_of, release, revisions
from app.studies import compare_revisions
from app.works import may, release_limits, why_not
from vision.decide import changes as differences
from vision.errors import Unusable
from vision.records import Limits


def revision_words(revision: Revision) -> str:
    """A revision as a line to choose: its number, its state, and who released it or when it was filed."""
    in_force = "in force, " if revision.in_force else ""
    by = f" by {whose_words(revision.released_by, revision.identity)}" if revision.released_by else ""
    how = by or f", filed {in_users_zone(revision.filed_at)}"
    return f"revision {revision.limits.revision}, {in_force}{revision.limits.status}{how}"


def next_number(known: Sequence[Revision]) -> int:
    """The number of the next draft, from whichever revision it starts: above all that were released."""
    return _last_released(known) + 1


def _last_released(known: Sequence[Revision]) -> int:
    return max((one.limits.revision for one in known if one.limits.status == "released"), default=0)


def keep_draft(server: ServerState, draft: Limits, who: Pass) -> None:
    """A button that files the draft."""
    if st.button("Write this draft", disabled=not may(who.roles, "draft limits"), type="primary"):
        with server.store.write() as connection:
            file_limits(connection, draft)
        st.success(f"Draft of revision {draft.revision} is kept. Release it below.")


def release_draft(server: ServerState, lot: StudyLot, who: Pass) -> None:
    """Release a draft newer than what is released, with a reason, by who may."""
    part = part_of(server.store, lot.part)
    known = revisions(server.store, lot.part)
    in_force = {lot.part: [one.id for one in known if one.in_force]}
    shown = st.session_state.get("in_force_shown", in_force)  # by the run before, in sight of which was clicked
    st.session_state["in_force_shown"] = in_force
    drafts = [one for one in known if one.limits.status == "draft" and one.limits.revision > _last_released(known)]
    with st.expander("Release a draft"):
        if not drafts:
            st.markdown("No draft is newer than what was released.")
            return
        with st.form("release", border=False):
            chosen = st.selectbox("Draft", drafts[::-1], format_func=revision_words)
            why = st.text_input("Why", max_chars=500, placeholder="what speaks for these limits")
            missing = st.empty()
            against = why_not(server.works, who.name, who.roles, "release limits")
            if against:
                st.markdown(f"You can't release: {against}.")
            pressed = st.form_submit_button("Release", disabled=against is not None)
        say_kept_as(who)
        if not pressed:
            return
        if not why.strip():
            missing.error("Say why above: the reason is kept with the release.")
            return
    acted, seen = who.acted(why), shown.get(lot.part)
    try:
        if server.works is not None and part is not None:
            released = release_limits(server.store, server.works, chosen.limits, part, acted, seen)
        else:
            released = release(server.store, chosen.limits, acted, seen)
    except Unusable as fault:
        st.error(f"Nothing was released: {fault}")
        return
    st.success(f"Revision {released.limits.revision} is released by {who.name}.")


def compare_limits(lot: StudyLot, known: tuple[Revision, ...]) -> None:
    """What differs between two revisions, and what both say of this lot."""
    with st.expander("Compare two revisions"):
        left, right = st.columns(2)
        one = left.selectbox("This", known, index=0, format_func=revision_words, key="compare_one")
        two = right.selectbox("with this", known, index=len(known) - 1, format_func=revision_words, key="compare_two")
        rows = [
            {"what": change.what, "before": str(change.before), "after": str(change.after)}
            for change in differences(one.limits, two.limits)
        ]
        if rows:
            st.dataframe(rows, hide_index=True)
        else:
            st.markdown("Nothing differs.")
        # Both judge the whole lot, which must not happen each time that the slider moves.
        if not st.button("Judge this lot by both"):
            return
        found = compare_revisions(lot.columns, one.limits, two.limits)
        st.markdown(
            f"Yield {share(found.yield_before)} against {share(found.yield_after)}; "
            f"{len(found.changed)} pieces of this lot change verdict."
        )
