"""The viewer as a Streamlit component: its page, its looks and its program, read from the folder `viewer`."""

from pathlib import Path
from typing import Any

import streamlit as st

from app.report import GLOSSARY, SIGNS, sign

_FOLDER = Path(__file__).with_name("viewer")
_PROGRAM = (  # in the order of need, joined to one program
    *("outbox.js", "sender.js", "link.js", "elements.js", "pictures.js", "marks.js", "view.js", "gestures.js"),
    *(
        "closeup.js",
        "stage.js",
        "panel.js",
        "labels.js",
        "saving.js",
        "pieces.js",
        "given.js",
        "keys.js",
        "told.js",
        "viewer.js",
        "component.js",
    ),
)

_GLOSSARY = "".join(f'<tr><th scope="row">{word}</th><td>{meaning}</td></tr>' for word, meaning in GLOSSARY)

_mount = st.components.v2.component(
    "brightbowl_viewer",
    html=(_FOLDER / "viewer.html").read_text(encoding="utf-8").replace("<!-- glossary -->", _GLOSSARY),
    css=(_FOLDER / "viewer.css").read_text(encoding="utf-8"),
    js="\n".join((_FOLDER / name).read_text(encoding="utf-8") for name in _PROGRAM),
)

_SIGNS = {
    verdict: f'<svg viewBox="-12 -12 24 24" aria-hidden="true">{sign(mark, (0.0, 0.0), 10.0)}</svg>'
    for verdict, mark in SIGNS.items()
}


def show_viewer(data: dict[str, Any]) -> None:
    """Show the viewer; it fetches its pieces and sends its verdicts by itself.

    `data` holds `mode` (queue, one, blind), `pass`, `inspector`, `known_by`, `may_review`, `wanted`, `empty` (what to
    say when there is nothing) and by mode `one` (tray, piece) or `blind` (id).
    """
    # A constant key: without it the data are part of the identity, and the viewer would be built anew on each run.
    # That a blind round was finished, or a choice is to be told again, runs the page anew, which is all that it is for.
    _mount(key="viewer", data={**data, "signs": _SIGNS}, on_finished_change=lambda: None, on_settle_change=lambda: None)
