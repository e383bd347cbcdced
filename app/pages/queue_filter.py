"""Which of the waiting pieces are wanted: filters and order, remembered while the page is open."""

from collections.abc import Mapping

import streamlit as st

from app.pages.server_state import ServerState
from app.report import measure_words
from app.store import Choices, Wanted, choices

CHOICES_KEPT_S = 1  # a lot that has just been filed can be chosen; keys do not draw the page anew
_FIELDS = (("lot", "Lot"), ("part", "Part"), ("die", "Die"), ("measure", "Reason"), ("severity", "Class"))
_ORDERS = ("worst first", "oldest first")


@st.cache_data(ttl=CHOICES_KEPT_S, show_spinner=False)
def _choices(_server: ServerState) -> Choices:
    return choices(_server.store)


def _chips(picked: Mapping[str, str | None]) -> None:
    """What the pieces are narrowed down by, each to be taken off."""
    for name, value in picked.items():
        if value is None:
            continue
        words = measure_words(value).title if name == "measure" else value
        label = {**dict(_FIELDS), "verdict": "Camera"}[name]
        st.button(f"✕ {label}: {words}", key=f"off_{name}", on_click=_take_off, args=(name,), help="take it off")


def _take_off(name: str) -> None:
    st.session_state[f"choice_{name}"] = None


def chosen_before() -> Wanted:
    """What the filters say before they are drawn, as `chosen` will: what they offer takes its time to be found."""
    picked = {name: st.session_state.get(f"choice_{name}") for name in (*dict(_FIELDS), "verdict")}
    return _wanted(picked, st.session_state.get("order", _ORDERS[0]))


def chosen(server: ServerState) -> Wanted:
    """Draw the filters; what they say."""
    row = st.container(horizontal=True, vertical_alignment="center")
    with row:
        order = st.selectbox("Order", _ORDERS, label_visibility="collapsed", key="order", width=140)
    with row, st.popover("Which pieces"):
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
    with row:
        _chips(picked | {"verdict": verdict})
    return _wanted(picked | {"verdict": verdict}, order)


def _wanted(picked: Mapping[str, str | None], order: str) -> Wanted:
    return Wanted(**picked, order="worst" if order == _ORDERS[0] else "oldest")
