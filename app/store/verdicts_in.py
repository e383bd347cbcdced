"""Verdicts of people brought into the store from a table."""

from collections.abc import Iterable

from app.store.connection import Store, now
from app.store.definitions import digest
from app.store.shown import newest_judgement, shown
from app.store.verdicts import Given, give, standing
from vision.files.verdicts import PersonsVerdict


def bring_in(store: Store, verdicts: Iterable[PersonsVerdict]) -> tuple[int, list[str]]:
    """File verdicts that the store does not have yet; how many were new, and a line for each that can't be filed.

    One that differs from what the same person said in that round is filed as its correction.
    """
    known = {(s.tray, s.piece, s.inspector, s.round): (s.verdict, s.defects, s.note) for s in standing(store)}
    new, refused = 0, []
    for one in verdicts:
        key = (one.tray, one.piece, one.inspector, one.round)
        if known.get(key) == (one.verdict, one.defects, one.note):
            continue
        judgement = newest_judgement(store, one.tray, one.piece)
        if judgement is None:
            refused.append(
                f"line {one.line}: no tray {one.tray} with a piece {one.piece} in the store; import its result first"
            )
            continue
        given = Given(
            uid=digest([*key, one.verdict, list(one.defects), one.note, one.given_at]),
            piece_id=shown(store, [judgement])[judgement].piece_id,
            judgement_id=None,
            inspector=one.inspector,
            identity="imported",
            verdict=one.verdict,
            defects=one.defects,
            note=one.note,
            given_at=one.given_at or now(),
            turn=one.round,
        )
        new += give(store, given).outcome in ("stored", "corrected")
    return new, refused
