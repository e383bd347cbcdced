"""Who is at the page: a name picked from the works' list, or a person who signed in."""

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app.pages.server_state import Pass, ServerState
from app.report import whose_words
from app.works import ROLES

NAME_MAX = 60
_OPENED = "opened"  # set once somebody was asked for in this session


def head(server: ServerState) -> tuple[DeltaGenerator, Pass | None]:
    """A page's own choice and who is here, as picked or signed in: both in the line of the pages' names."""
    left, right = head_line()
    with right:
        return left, who_is_here(server)


def head_line() -> tuple[DeltaGenerator, DeltaGenerator]:
    """The room for a page's own choice and for who is here, still empty."""
    with st.container(key="head"):
        left, right = st.columns([0.64, 0.36], vertical_alignment="center")
    return left, right


def who_is_here(server: ServerState) -> Pass | None:
    """The person at this page, asked for where need be; None while nobody is known."""
    st.session_state[_OPENED] = True
    return _signed_in(server) if server.login else _declared(server)


def who_opens(server: ServerState) -> Pass | None:
    """Who will be at a page that is just being opened, before anything is drawn; None where that is not known yet."""
    if _OPENED in st.session_state:
        return None
    if server.login:
        return _pass_of(server) if st.user.is_logged_in else None
    name = st.query_params.get("who")
    roles = next((one.roles for one in server.people() if one.name == name), None)
    return None if name is None or roles is None else Pass(name, roles, "declared")


def _declared(server: ServerState) -> Pass | None:
    """A name picked or, without a list, written. It stands in the address too, so that it outlives a restart."""
    people = {one.name: one.roles for one in server.people()}
    asked = st.query_params.get("who") or st.session_state.get("name_chosen")
    if people:
        names = list(people)
        name = st.selectbox(
            "Who are you?",
            names,
            index=names.index(asked) if asked in people else None,
            placeholder="your name",
            label_visibility="collapsed",
        )
    else:
        written = st.text_input(
            "Who are you?", value=asked or "", max_chars=NAME_MAX, placeholder="your name", label_visibility="collapsed"
        )
        name = written.strip() or None
    if name is None:
        return None
    st.session_state["name_chosen"] = name
    if st.query_params.get("who") != name:
        st.query_params["who"] = name
    return Pass(name, people.get(name, ROLES), "declared")


def _signed_in(server: ServerState) -> Pass | None:
    if not st.user.is_logged_in:
        st.button("Sign in", on_click=st.login, type="primary")
        return None
    person = _pass_of(server)
    if person is None:
        st.error(f"{st.user.email or ''} is not on the works' list. Ask for a line with this address in works.toml.")
        st.button("Sign out", on_click=st.logout)
        return None
    st.button(f"{person.name} · sign out", on_click=st.logout)
    return person


def _pass_of(server: ServerState) -> Pass | None:
    """Who signed in; None where they are not on the works' list."""
    person = server.person_of(str(st.user.email or ""))
    return None if person is None else Pass(person.name, person.roles, "login")


def say_kept_as(who: Pass) -> None:
    """Beside a decision: as whose it will be kept, and how sure that is."""
    sure = "" if who.identity == "login" else ": nobody signs in here, anybody could have given this name"
    st.markdown(f"Kept as {whose_words(who.name, who.identity)}{sure}.")


def nobody_yet(server: ServerState) -> None:
    """What to do while nobody is known."""
    if server.login:
        st.info("Sign in above to begin.")
    else:
        st.info("Choose your name above to begin: every verdict is kept with it.")
