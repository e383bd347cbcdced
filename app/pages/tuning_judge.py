"""The works' own judge of marks on the page *Tuning*: taught by labels, looked at, put into force."""

import streamlit as st

from app.pages.server_state import Pass, ServerState
from app.pages.sign_in import say_kept_as
from app.run import TaughtPart, release_taught, teach_part
from app.store import labels
from app.works import Works, judge_of_marks, may, why_not, withdraw_judge
from vision.errors import Unusable


def judge_of_part(server: ServerState, part: str, who: Pass) -> None:
    """Which judge of marks judges a part; teach it, put its draft into force, take it back."""
    works = server.works
    if works is None:
        return
    with st.expander("Judge of marks"):
        try:
            judge = judge_of_marks(works.judge_file(part))
        except Unusable as fault:
            st.error(str(fault))
            return
        given = labels(server.store, part=part)
        marks = sum(one.label == "mark" for one in given)
        own = judge.release
        whose = f"the works' own, by {own.by}: {own.why}" if own else "the one that comes with the program"
        st.markdown(f"Revision {judge.revision}, {whose}. Labels: {marks} of marks, {len(given) - marks} of none.")
        # What came of it is kept for the session: the page may run anew at any moment.
        kept = f"taught {part}"
        if st.button("Teach it by these labels", disabled=not may(who.roles, "draft limits")):
            st.session_state[kept] = _teach(server, works, part)
        if (taught := st.session_state.get(kept)) is not None:
            _show(taught)
        if works.judge_draft(part).is_file():
            _release(works, part, who)
        elif own:
            _withdraw(works, part, who)


def _teach(server: ServerState, works: Works, part: str) -> TaughtPart | None:
    try:
        with st.spinner("The frames of the labelled shots are read again"):
            return teach_part(server.store, works, part)
    except Unusable as fault:
        st.error(str(fault))
        return None


def _show(taught: TaughtPart) -> None:
    teaching = taught.teaching
    if teaching.draft is None:
        st.warning(f"No draft: {teaching.refused}.")
    else:
        st.success(f"A draft: it would lose {len(teaching.lost)} labelled marks.")
    for line in (*teaching.words, *taught.left_out):
        st.markdown(f"- {line}")
    if taught.report.is_file():
        st.download_button("Its report, with pictures", taught.report.read_bytes(), taught.report.name, "text/html")


def _reason(part: str, who: Pass, works: Works, act: str) -> str | None:
    """A form that asks why; the reason once it is sent."""
    against = why_not(works, who.name, who.roles, "release a judge of marks")
    with st.form(f"{act} judge of {part}", border=False):
        why = st.text_input("Why", max_chars=500, placeholder="what speaks for this judge")
        missing = st.empty()
        if against:
            st.markdown(f"You can't do this: {against}.")
        pressed = st.form_submit_button(act, disabled=against is not None)
    say_kept_as(who)
    if pressed and not why.strip():
        missing.error("Say why above: the reason is kept with the judge.")
    return why if pressed and why.strip() else None


def _release(works: Works, part: str, who: Pass) -> None:
    st.markdown("A draft waits: look at its report first.")
    report = works.judge_draft(part).with_suffix(".html")
    if report.is_file():
        st.download_button("Report of the draft", report.read_bytes(), report.name, "text/html")
    why = _reason(part, who, works, "Put the draft into force")
    if why is None:
        return
    try:
        judge = release_taught(works, part, who.acted(why))
    except Unusable as fault:
        st.error(f"Nothing was put into force: {fault}")
        return
    st.success(f"Revision {judge.revision} judges from now on, by {who.name}.")


def _withdraw(works: Works, part: str, who: Pass) -> None:
    why = _reason(part, who, works, "Judge by the program's own again")
    if why is None:
        return
    try:
        withdraw_judge(works, part)
    except Unusable as fault:
        st.error(f"Nothing changed: {fault}")
        return
    st.success("The judge that comes with the program judges again.")
