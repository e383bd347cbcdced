"""Verdicts of people brought into the store from a table."""

from collections.abc import Iterable
from dataclasses import dataclass

from app.store.database.connection import Store, now
from app.store.database.definitions import digest
from app.store.people.verdicts import NewVerdict, give, standing
from app.store.results.shown import lots_of, newest_judgement, shown
from vision.formats import PersonsVerdict


@dataclass(frozen=True, slots=True)
class BroughtIn:
    """Verdicts that were new, there before, and not filed; `refused` has a line for each piece that is not there."""

    new: int
    known: int
    lost: int
    refused: tuple[str, ...]


def bring_in(store: Store, verdicts: Iterable[PersonsVerdict]) -> BroughtIn:
    """File verdicts that the store does not have yet.

    One that differs from what the same person said in that round is filed as its correction.

    Parameters
    ----------
    store
        An open store.
    verdicts
        Lines of a table.

    Returns
    -------
    BroughtIn
        How many were new, the same and lost, and a line for each reason why.
    """
    known = {(s.tray, s.piece, s.inspector, s.round): (s.verdict, s.defects, s.note) for s in standing(store)}
    new = same = 0
    brought_in = now()  # one moment for all that have no time of their own
    unknown: dict[tuple[str, int], list[int]] = {}
    several: dict[tuple[str, tuple[str, ...]], list[int]] = {}
    for one in verdicts:
        key = (one.tray, one.piece, one.inspector, one.round)
        if known.get(key) == (one.verdict, one.defects, one.note):
            same += 1
            continue
        lots = lots_of(store, one.tray)
        if len(lots) > 1:
            several.setdefault((one.tray, lots), []).append(one.line)
            continue
        judgement = newest_judgement(store, one.tray, one.piece)
        if judgement is None:
            unknown.setdefault((one.tray, one.piece), []).append(one.line)
            continue
        given = NewVerdict(
            uid=digest([*key, one.verdict, list(one.defects), one.note, one.given_at]),
            piece_id=shown(store, [judgement])[judgement].piece_id,
            judgement_id=None,
            inspector=one.inspector,
            identity="imported",
            verdict=one.verdict,
            defects=one.defects,
            note=one.note,
            given_at=one.given_at or brought_in,
            turn=one.round,
        )
        filed = give(store, given).outcome in ("stored", "corrected")
        new, same = new + filed, same + (not filed)
    refused = tuple(
        f"line {', '.join(map(str, lines))}: no tray {tray} with a piece {piece} in the store; import its result first"
        for (tray, piece), lines in unknown.items()
    ) + tuple(
        f"line {', '.join(map(str, lines))}: trays of several lots are named {tray} ({', '.join(lots)}); give "
        "them names of their own, since a table of verdicts names no lot"
        for (tray, lots), lines in several.items()
    )
    lost = sum(map(len, [*unknown.values(), *several.values()]))
    return BroughtIn(new, same, lost, refused)
