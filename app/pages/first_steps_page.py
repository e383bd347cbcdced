"""What a works still lacks before it judges: each step, whether it is done, who does it and by which command."""

import streamlit as st

from app.pages.server_state import current_server
from app.pages.sign_in import head
from app.works import first_steps, read_works

_SIGNS = {True: "✓ done", False: "✗ missing"}


def first_steps_page() -> None:
    """List the steps from people to a first lot, as they stand now."""
    server = current_server()
    head(server)
    if server.works is None:
        st.info("This page serves a store alone; with a works folder (--works) it says what that still lacks.")
        return
    for number, step in enumerate(first_steps(read_works(server.works.folder)), 1):
        st.markdown(f"**{number}. {step.name.capitalize()}: {_SIGNS[step.done]}**")
        st.text(step.words)
        if not step.done:
            st.text(step.by_people)
            st.code(step.command, language=None, wrap_lines=True)
