"""Which of the waiting pieces are wanted: filters and order, remembered while the page is open."""

import streamlit as st

from app.pages.server_state import ServerState
from app.report import measure_words
from app.store import Choices, Wanted, choices

CHOICES_KEPT_S = 10
_FIELDS = (("lot", "Lot"), ("part", "Part"), ("die", "Die"), ("measure", "Reason"), ("severity", "Class"))


@st.cache_data(ttl=CHOICES_KEPT_S, show_spinner=False)
def _choices(_server: ServerState) -> Choices:
    return choices(_server.store)


def chosen(server: ServerState) -> Wanted:
    """Draw the filters; what they say."""
    left, middle = st.columns([0.5, 0.5], vertical_alignment="center")
    with left:
        order = st.selectbox("Order", ["worst first", "oldest first"], label_visibility="collapsed", key="order")
    with middle, st.popover("Which pieces", width="stretch"):
        found = _choices(server)
        values = {
            "lot": found.lots,
            "part": found.parts,
            "die": found.dies,
            "measure": found.measures,
            "severity": found.severities,
        }
        picked = {
            name: st.selectbox(
                label,
                values[name],
                index=None,
                placeholder="all",
                key=f"choice_{name}",
                format_func=(lambda measure: measure_words(measure).title) if name == "measure" else str,
            )
            for name, label in _FIELDS
        }
        verdict = st.selectbox(
            "The camera says", ["review", "reject"], index=None, placeholder="both", key="choice_verdict"
        )
    return Wanted(**picked, verdict=verdict, order="oldest" if order == "oldest first" else "worst")
