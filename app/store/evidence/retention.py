"""Which shots' frames may be forgotten: those that show passed pieces alone, which nobody judged and nothing doubts."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, exists, func, insert, select

from app.store.database import schema
from app.store.database.connection import Store, moment, now
from app.store.lots.doubts import doubts_left
from app.store.people.actor import Acted
from app.store.stations.checks import suspect_trays

_AT_ONCE = 500  # keys in one query: SQLite of old took 999 at most


@dataclass(frozen=True, slots=True)
class Framed:
    """A shot with its frames' paths, as the store keeps paths; `age_days`: since it was filed last.

    `passed`: its pieces passed in every judging, no person judged one or is to in a blind round, its lot is not held,
    and neither a failed check of its station nor a doubtful case of an old store concerns it. `draw`: a number from 0
    to 1 that is the shot's own, drawn by its frames.
    """

    shot_id: int
    tray: str
    frames: tuple[str, ...]
    age_days: float
    passed: bool
    draw: float


def framed_shots(store: Store) -> tuple[Framed, ...]:
    """Every shot with its frames, those forgotten already among them, in the order of filing.

    Age is counted until the newest filing, and not until now: a clock that runs ahead by itself forgets nothing.

    Parameters
    ----------
    store
        An open store.

    Returns
    -------
    tuple[Framed, ...]
        Age in days, frames, whether all of it passed, and its draw between 0 and 1.
    """
    doubtful = {one.tray for one in suspect_trays(store)} | {one.tray for one in doubts_left(store)}
    with store.read() as connection:
        newest = connection.execute(select(func.max(schema.judging.c.filed_at))).scalar()
        until = min(moment(now()), moment(newest or now()))
        rows = connection.execute(_SHOTS).all()
        flagged, held = _trays_to_keep(connection), _held_lots(connection)
        frames: dict[int, list[str]] = {}
        picture = schema.picture
        query = select(picture.c.shot_id, picture.c.path).where(picture.c.kind == "frame").order_by(picture.c.id)
        for shot_id, path in connection.execute(query):
            frames.setdefault(shot_id, []).append(path)
    return tuple(
        Framed(
            shot_id=row.id,
            tray=row.tray,
            frames=tuple(frames[row.id]),
            age_days=(until - moment(row.last)).total_seconds() / 86400.0,
            passed=not (row.tray_id in flagged or row.lot_id in held or row.tray in doubtful),
            draw=_draw(row.frames or f"{row.tray} {row.taken_at}"),
        )
        for row in rows
        if row.id in frames
    )


def _draw(own: str) -> float:
    return int.from_bytes(hashlib.sha256(own.encode()).digest()[:8]) / 2.0**64


_OF_A_SHOT = (
    schema.shot.c.id,
    schema.shot.c.taken_at,
    schema.shot.c.tray_id,
    schema.tray.c.tray,
    schema.tray.c.lot_id,
    schema.shot_identity.c.frames,
)
_SHOTS = (
    select(*_OF_A_SHOT, func.max(schema.judging.c.filed_at).label("last"))
    .join(schema.tray, schema.tray.c.id == schema.shot.c.tray_id)
    .join(schema.shot_identity, schema.shot_identity.c.shot_id == schema.shot.c.id)
    .join(schema.filing, schema.filing.c.shot_id == schema.shot.c.id)
    .join(schema.judging, schema.judging.c.filing_id == schema.filing.c.id)
    .group_by(*_OF_A_SHOT)
    .order_by(schema.shot.c.id)
)


def _trays_to_keep(connection: Connection) -> frozenset[int]:
    """Trays of which a piece was ever flagged, judged by a person, or drawn for a blind round."""
    piece, judgement = schema.piece, schema.judgement
    flagged = exists().where(judgement.c.piece_id == piece.c.id, judgement.c.verdict != "pass")
    said = exists().where(schema.verdict.c.piece_id == piece.c.id)
    drawn = exists().where(schema.blind_piece.c.piece_id == piece.c.id)
    query = select(piece.c.tray_id).where(flagged | said | drawn).distinct()
    return frozenset(connection.execute(query).scalars())


def _held_lots(connection: Connection) -> frozenset[int]:
    """Lots of which some part stands on hold."""
    table = schema.lot_decision
    word: dict[tuple[int, str], str] = {}
    for row in connection.execute(select(table.c.lot_id, table.c.part, table.c.decision).order_by(table.c.id)):
        if row.decision in ("release", "hold"):
            word[row.lot_id, row.part] = row.decision
    return frozenset(lot for (lot, _), decision in word.items() if decision == "hold")


@dataclass(frozen=True, slots=True)
class Forgotten:
    """A file that is to be forgotten, or was, by its path and the digest of what it holds."""

    path: str
    digest: str


def kept_digests(store: Store) -> dict[str, str]:
    """The digest of each file as it was kept last, by its path.

    Parameters
    ----------
    store
        An open store.

    Returns
    -------
    dict[str, str]
        SHA-256 by path as the store keeps it.
    """
    table = schema.kept_file
    newest = select(func.max(table.c.id)).group_by(table.c.path)
    with store.read() as connection:
        rows = connection.execute(select(table.c.path, table.c.digest).where(table.c.id.in_(newest)))
        return {row.path: row.digest for row in rows}


def forgotten_files(store: Store) -> frozenset[Forgotten]:
    """All that was ever forgotten.

    Parameters
    ----------
    store
        An open store.

    Returns
    -------
    frozenset[Forgotten]
        Paths with the digests that they had.
    """
    table = schema.forgotten
    with store.read() as connection:
        return frozenset(Forgotten(*row) for row in connection.execute(select(table.c.path, table.c.digest)))


def why_forgotten(store: Store, path: str) -> str | None:
    """By which rule and when a file was forgotten last, in words; None where it never was.

    Parameters
    ----------
    store
        An open store.
    path
        As the store keeps it.

    Returns
    -------
    str | None
        A sentence; none where it never was.
    """
    table = schema.forgotten
    query = select(table.c.rule, table.c.given_at).where(table.c.path == path).order_by(table.c.id.desc()).limit(1)
    with store.read() as connection:
        row = connection.execute(query).first()
    return None if row is None else f"forgotten by the rule of the works ({row.rule}) at {row.given_at}"


def note_forgotten(connection: Connection, files: Sequence[Forgotten], rule: str, acted: Acted) -> None:
    """Write down which files are forgotten, by which rule and by whom; only then may they go.

    Parameters
    ----------
    connection
        A transaction of the store.
    files
        Paths with their digests.
    rule
        In words.
    acted
        Who does it, and why.
    """
    table = schema.forgotten
    said = {"rule": rule, "given_by": acted.by, "identity": acted.known, "given_at": now()}
    for start in range(0, len(files), _AT_ONCE):
        some = files[start : start + _AT_ONCE]
        paths = select(table.c.path, table.c.digest).where(table.c.path.in_([one.path for one in some]))
        known = {Forgotten(*row) for row in connection.execute(paths)}
        rows = [{"path": one.path, "digest": one.digest, **said} for one in some if one not in known]
        if rows:
            connection.execute(insert(table), rows)
