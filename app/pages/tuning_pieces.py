"""Pieces on the page *Tuning*: those that the setting on the slider misses, stops without cause, or judges anew."""

from collections import defaultdict
from collections.abc import Sequence

import numpy as np
import streamlit as st

from app.pages.server_state import Pass, ServerState
from app.pages.study_lot import StudyLot, show_pieces
from app.pages.tuning_words import title_of
from app.studies import ACCEPT, REJECT, Changes, Codes, PieceKey, Sample, Sweep, Truth
from vision.decide import PASS

A_ROW = 4
"""Pictures of one kind at most: what fits beside one another on a screen, and is drawn while the slider moves."""


def show_tuned(
    server: ServerState, lot: StudyLot, wrong: tuple[Truth, Codes], words: dict[PieceKey, str], who: Pass
) -> None:
    """Two rows of pictures: bad pieces that pass at the slider, and good ones that don't, by what most people say.

    `wrong`: what people say, and the lot's verdicts at the slider.
    """
    truth, codes = wrong
    passes = codes[truth.rows] == PASS
    rows = (
        ("Missed: people reject them, and they pass", (truth.said == REJECT) & passes),
        ("Stopped without cause: people accept them, and they don't pass", (truth.said == ACCEPT) & ~passes),
    )
    for title, these in rows:
        keys = list(dict.fromkeys(lot.columns.keys[truth.rows[k]] for k in np.flatnonzero(these).tolist()))
        st.markdown(f"**{title}: {len(keys)}**" + (" (a click opens the piece)" if keys else ""))
        show_pieces(server, [(key, words[key]) for key in keys], who, A_ROW)


def show_changed(server: ServerState, changes: Changes, words: dict[PieceKey, str], who: Pass) -> None:
    """Pieces whose verdict is another at the slider."""
    if not changes.changed:
        st.markdown("No piece of this lot changes verdict.")
        return
    st.markdown("**Pieces that change verdict** (a click opens the piece)")
    told = [(one.key, f"{one.before} becomes {one.after}; {words[one.key]}") for one in changes.changed]
    show_pieces(server, told, who)


def piece_words(lot: StudyLot, swept: Sweep, setting: float, samples: Sequence[Sample]) -> dict[PieceKey, str]:
    """Of each piece its value, the limit on the slider, and what people said of it."""
    said: dict[PieceKey, list[str]] = defaultdict(list)
    for sample in samples:
        for one in sample.verdicts:
            said[PieceKey(one.tray, one.piece)].append(f"{one.inspector} {one.verdict}")
    unit = f" {swept.target.unit}" if swept.target.unit else ""
    limit = f"{'least ' if swept.target.side == 'min' else ''}limit {setting:g}{unit}"
    name = title_of(swept.target.name)
    return {
        key: "; ".join([f"{name} {value:.4g}{unit}, {limit}" if np.isfinite(value) else f"no {name}", *said[key]])
        for key, value in zip(lot.columns.keys, swept.value.tolist(), strict=True)
    }
