"""Which tray a shot is of: a shot has an identity of its own, a tray's name is what people call it.

A shot is told by its station, its time and the digest of its frames. The same name in another lot is another tray; in
the same lot it is a retake where shot.json or a person says so. Where neither says, nothing is filed: people choose.
"""

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Connection, Row, func, select, union, update

from app.store.database import schema
from app.store.database.connection import now
from app.store.database.rows import add, ensure, find
from app.store.lots.sums import sum_up
from vision.errors import Unusable
from vision.records import TrayResult

SHOT_FILE = "shot.json"


_DIR = "DIR"


class Undecided(Unusable):
    """A result that was not filed, since only a person can say what it is; nothing was changed."""

    def said(self, folder: Path) -> str:
        """What to do, with the folder in which the result lies."""
        return str(self).replace(f"import {_DIR} ", f"import {shlex.quote(str(folder))} ")


@dataclass(frozen=True, slots=True)
class Chosen:
    """What a person says of a result where the store can't know, with name and reason.

    `move`: its shot, filed under another name or lot, belongs where the result says. `retake`: it takes the place of
    the tray's earlier shots. `stand`: it stands although a later judging is there.
    """

    kind: Literal["move", "retake", "stand"]
    given_by: str
    why: str
    identity: str = "declared"


SHOT_SAYS = Chosen("retake", SHOT_FILE, "", "declared")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a shot belongs: its tray, and its place among the shots of it; of these the highest counts.

    `moved`: the tray came there just now, from another name or lot.
    """

    tray_id: int
    place: int
    moved: bool = False


def place_of(connection: Connection, result: TrayResult, lot_id: int | None, chosen: Chosen | None) -> Place:
    """Find or make the tray of a result's shot; what was chosen is written down.

    Raises
    ------
    Undecided
        Only a person can say.
    """
    known = _candidates(connection, result)
    same = [one for one in known if _same_shot(one, result)]
    at_home = [one for one in known if one.tray == result.tray and one.tray_lot_id == lot_id]
    if same:
        found = next((one for one in reversed(same) if one in at_home), same[-1])
        if found not in at_home:
            _move(connection, found, result, lot_id, chosen)
        return Place(found.tray_id, found.place, found not in at_home)
    unsure = [one for one in known if one.tray == result.tray and _same_shot(one, result) is None]
    for one in unsure:
        if one in at_home:
            return Place(one.tray_id, one.place)
        if lot_id is None or one.tray_lot_id is None:
            _move(connection, one, result, lot_id, chosen)
            return Place(one.tray_id, one.place, moved=True)
    if at_home:
        return _again(connection, at_home, result, chosen)
    tray_id = add(connection, schema.tray, {"tray": result.tray, "lot_id": lot_id})
    if result.retake:  # its earlier shot may be filed later, and is then known for one
        here = TrayName(result.tray, result.lot)
        note_choice(connection, SHOT_SAYS, tray_id, here, here)
    return Place(tray_id, 1)


def _candidates(connection: Connection, result: TrayResult) -> Sequence[Row[Any]]:
    """Shots that bear the result's name or its frames, with their trays, in the order of filing."""
    shot, tray, identity, lot = schema.shot, schema.tray, schema.shot_identity, schema.lot
    # Two searches, each by an index of its own: one for either would read every shot of the store.
    alike = [select(shot.c.id).join(tray, tray.c.id == shot.c.tray_id).where(tray.c.tray == result.tray)]
    if result.digests is not None:
        alike.append(select(identity.c.shot_id).where(identity.c.frames == result.digests.frames))
    query = (
        select(
            shot.c.id.label("shot_id"),
            shot.c.part,
            shot.c.station,
            shot.c.taken_at,
            identity.c.frames,
            identity.c.place,
            tray.c.id.label("tray_id"),
            tray.c.tray,
            tray.c.lot_id.label("tray_lot_id"),
            lot.c.lot,
        )
        .join(identity, identity.c.shot_id == shot.c.id)
        .join(tray, tray.c.id == shot.c.tray_id)
        .outerjoin(lot, lot.c.id == tray.c.lot_id)
        .where(shot.c.id.in_(union(*alike)))
        .order_by(shot.c.id)
    )
    return list(connection.execute(query))


def _same_shot(known: Row[Any], result: TrayResult) -> bool | None:
    """Whether a filed shot is the result's; None where that can't be told, since frames or times are not known.

    Frames that are known tell by themselves, together with station and time; without them the time does, to the name.
    """
    if known.station != result.station:
        return False
    frames = None if result.digests is None else result.digests.frames
    if known.frames is not None and frames is not None:
        return bool(known.frames == frames and known.taken_at == result.taken_at)
    if known.taken_at is None or result.taken_at is None:
        return None if known.tray == result.tray else False
    return bool(known.taken_at == result.taken_at and known.tray == result.tray)


def _move(
    connection: Connection, known: Row[Any], result: TrayResult, lot_id: int | None, chosen: Chosen | None
) -> None:
    """Take a tray to the name and lot that a result says, where a person said so."""
    here, there = _named(known.tray, known.lot), _named(result.tray, result.lot)
    if chosen is None or chosen.kind != "move":
        raise Undecided(
            there,
            "shot",
            f"nothing was changed: the same shot is filed as {here}; correct what is wrong, or move it there: "
            f"`brightbowl import {_DIR} --move --by NAME --why REASON`",
        )
    if find(connection, schema.tray, {"tray": result.tray, "lot_id": lot_id}) is not None:
        raise Undecided(there, "--move", "nothing was changed: another tray of that name is in that lot; rename one")
    tray = schema.tray
    values = {"tray": result.tray, "lot_id": lot_id}
    connection.execute(update(tray).where(tray.c.id == known.tray_id).values(**values))
    sum_up(connection, [known.tray_lot_id, lot_id])
    _note(connection, chosen, known, result)


def _again(connection: Connection, known: Sequence[Row[Any]], result: TrayResult, chosen: Chosen | None) -> Place:
    """Another shot of a tray's name in its lot: a retake, an earlier shot of one that was taken again, or unsaid."""
    last = max(known, key=lambda one: one.place)
    said = SHOT_SAYS if result.retake else chosen
    if said is not None and said.kind == "retake":
        if last.part != result.part:
            expected = (
                f"nothing was changed: a retake shows the same part, {last.part}; give the tray a name of its own"
            )
            raise Undecided(_named(result.tray, result.lot), "retake", expected, result.part)
        _note(connection, said, last, result)
        return Place(last.tray_id, last.place + 1)
    first = min(known, key=lambda one: one.place)
    if _was_retaken(connection, first) and result.taken_at and first.taken_at and result.taken_at < first.taken_at:
        return Place(first.tray_id, first.place - 1)
    raise Undecided(
        _named(result.tray, result.lot),
        "tray",
        f"nothing was changed: another shot of that name is filed, taken {last.taken_at or 'at no known time'}; give "
        'this tray a name of its own, or say that it was taken again: "retake": true in shot.json, or '
        f"`brightbowl import {_DIR} --retake --by NAME --why REASON`",
        f"taken {result.taken_at or 'at no known time'}",
    )


def _was_retaken(connection: Connection, known: Row[Any]) -> bool:
    """Whether the tray's first filed shot says itself that it takes another's place."""
    said = schema.choice
    query = select(func.count()).where(said.c.tray_id == known.tray_id, said.c.kind == "retake")
    shots = select(func.count(func.distinct(schema.shot_identity.c.place))).select_from(
        schema.shot_identity.join(schema.shot, schema.shot.c.id == schema.shot_identity.c.shot_id)
    )
    retakes = int(connection.execute(query).scalar_one())
    return retakes >= int(connection.execute(shots.where(schema.shot.c.tray_id == known.tray_id)).scalar_one())


def _note(connection: Connection, chosen: Chosen, known: Row[Any], result: TrayResult) -> None:
    before, after = TrayName(known.tray, known.lot), TrayName(result.tray, result.lot)
    note_choice(connection, chosen, known.tray_id, before, after)


@dataclass(frozen=True, slots=True)
class TrayName:
    """A tray by its name and its lot's."""

    tray: str
    lot: str | None


def note_choice(connection: Connection, chosen: Chosen, tray_id: int, before: TrayName, after: TrayName) -> None:
    """Write down what a person chose for a tray, with its name before and after.

    Raises
    ------
    Unusable
        Name or reason are missing.
    """
    if not chosen.given_by.strip() or (chosen is not SHOT_SAYS and not chosen.why.strip()):
        raise Unusable(f"--{chosen.kind}", "", "--by NAME and --why REASON with it; say who says so, and why")
    values = {"kind": chosen.kind, "tray_id": tray_id, "given_by": chosen.given_by.strip(), "why": chosen.why.strip()}
    names = {"tray_before": before.tray, "lot_before": before.lot, "tray": after.tray, "lot": after.lot}
    add(connection, schema.choice, {**values, **names, "identity": chosen.identity, "given_at": now()})


def _named(tray: str, lot: str | None) -> str:
    return f"tray {tray} of lot {lot}" if lot else f"tray {tray} of no lot"


def lot_row(connection: Connection, lot: str | None) -> int | None:
    """The row of a lot, made where it is missing; None for none."""
    return None if lot is None else ensure(connection, schema.lot, {"lot": lot}, {"filed_at": now()})
