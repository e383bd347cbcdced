"""What a page shows of a judgement: the piece, its shot, pictures, process values, neighbours, drawing and profile."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.database.definitions import part_record, station_record, unpack, unpack_profile
from app.store.lots.revisions import standings_of
from app.store.results.recall import judged_pieces, process_values
from vision.formats import Profile
from vision.records import JudgedPiece, LimitsStanding, Part, Station


@dataclass(frozen=True, slots=True)
class PicturePath:
    """A picture as filed; `path` is absolute or relative to the works folder."""

    id: int
    path: str
    kind: str
    light: str | None
    azimuth_deg: float | None
    piece: int | None


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A piece on the same tray: where its centre lies in the frame, and what the camera says."""

    piece: int
    verdict: str
    center_px: tuple[float, float] | None


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """One judgement with all that a page shows of it; `limits_standing` of one that stands, where that is known."""

    piece_id: int
    judgement_id: int
    shot_id: int
    tray: str
    lot: str | None
    part: str
    station: str
    taken_at: str | None
    limits_revision: int
    judged: JudgedPiece
    pictures: tuple[PicturePath, ...]
    process: dict[str, str | float]
    newest: bool
    limits_standing: LimitsStanding | None


def shown(store: Store, judgement_ids: Sequence[int]) -> dict[int, Shown]:
    """Judgements with what a page shows of them, by id.

    Parameters
    ----------
    store
        An open store.
    judgement_ids
        Rows of judgements.

    Returns
    -------
    dict[int, Shown]
        By row; one that is not there is left out.
    """
    judgement, filing, shot, stands = schema.judgement, schema.filing, schema.shot, schema.standing_piece
    query = (
        select(
            judgement.c.id,
            judgement.c.piece_id,
            filing.c.limits_revision,
            shot.c.id.label("shot_id"),
            shot.c.part,
            shot.c.station,
            shot.c.taken_at,
            schema.tray.c.tray,
            schema.lot.c.lot,
            stands.c.judgement_id.label("stands"),
            schema.standing_tray.c.judging_id,
        )
        .join(filing, filing.c.id == judgement.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(schema.tray, schema.tray.c.id == shot.c.tray_id)
        .outerjoin(schema.lot, schema.lot.c.id == schema.tray.c.lot_id)
        .outerjoin(stands, stands.c.piece_id == judgement.c.piece_id)
        .outerjoin(schema.standing_tray, schema.standing_tray.c.tray_id == shot.c.tray_id)
        .where(judgement.c.id.in_(judgement_ids))
    )
    with store.read() as connection:
        rows = connection.execute(query).all()
        judged = judged_pieces(connection, [row.id for row in rows])
        shots = sorted({row.shot_id for row in rows})
        pictures: dict[int, list[PicturePath]] = {}
        table = schema.picture
        for row in connection.execute(select(table).where(table.c.shot_id.in_(shots)).order_by(table.c.id)):
            pictures.setdefault(row.shot_id, []).append(
                PicturePath(row.id, row.path, row.kind, row.light, row.azimuth_deg, row.piece)
            )
        process = process_values(connection, shots)
        limits = standings_of(connection, {row.judging_id for row in rows if row.judging_id is not None})
    return {
        int(row.id): Shown(
            piece_id=row.piece_id,
            judgement_id=row.id,
            shot_id=row.shot_id,
            tray=row.tray,
            lot=row.lot,
            part=row.part,
            station=row.station,
            taken_at=row.taken_at,
            limits_revision=row.limits_revision,
            judged=judged[row.id],
            pictures=tuple(pictures.get(row.shot_id, ())),
            process=process.get(row.shot_id, {}),
            newest=row.stands == row.id,
            limits_standing=limits.get(row.judging_id) if row.stands == row.id else None,
        )
        for row in rows
    }


def newest_judgement(store: Store, tray: str, piece: int, lot: str | None = None) -> int | None:
    """The id of the judgement that stands of a piece, None where the store has no such piece.

    Trays of several lots may bear one name: without `lot`, the one filed last is meant.

    Parameters
    ----------
    store
        An open store.
    tray
        The tray's name.
    piece
        Its number on the tray.
    lot
        Its name; none: the tray filed last.

    Returns
    -------
    int | None
        A row; none where there is no such piece.
    """
    stands = schema.standing_piece
    query = (
        select(stands.c.judgement_id)
        .join(schema.piece, schema.piece.c.id == stands.c.piece_id)
        .join(schema.tray, schema.tray.c.id == schema.piece.c.tray_id)
        .where(schema.tray.c.tray == tray, schema.piece.c.piece == piece)
        .order_by(schema.piece.c.id.desc())
    )
    if lot is not None:
        query = query.join(schema.lot, schema.lot.c.id == schema.tray.c.lot_id).where(schema.lot.c.lot == lot)
    with store.read() as connection:
        found = connection.execute(query.limit(1)).scalar()
    return None if found is None else int(found)


def lots_of(store: Store, tray: str) -> tuple[str, ...]:
    """The lots of trays of a name; a tray of no lot counts as one, named so."""
    query = select(schema.lot.c.lot).select_from(schema.tray).outerjoin(schema.lot).where(schema.tray.c.tray == tray)
    with store.read() as connection:
        return tuple(lot or "no lot" for lot in connection.execute(query.order_by(schema.tray.c.id)).scalars())


def newest_judgements(store: Store, piece_ids: Sequence[int]) -> dict[int, int]:
    """The ids of the judgements that stand, by piece id; of a piece that a retake shows no more, its last.

    Parameters
    ----------
    store
        An open store.
    piece_ids
        Rows of pieces.

    Returns
    -------
    dict[int, int]
        Rows of judgements by row of the piece.
    """
    table, stands = schema.judgement, schema.standing_piece
    query = (
        select(table.c.piece_id, func.coalesce(func.max(stands.c.judgement_id), func.max(table.c.id)))
        .outerjoin(stands, stands.c.piece_id == table.c.piece_id)
        .where(table.c.piece_id.in_(piece_ids))
        .group_by(table.c.piece_id)
    )
    with store.read() as connection:
        return {int(piece): int(newest) for piece, newest in connection.execute(query)}


def neighbours(store: Store, shot_id: int) -> tuple[Neighbour, ...]:
    """All pieces on a shot's tray that stand, by number.

    Parameters
    ----------
    store
        An open store.
    shot_id
        Row of a shot.

    Returns
    -------
    tuple[Neighbour, ...]
        Number, verdict and centre in px of each.
    """
    piece, judgement, stands = schema.piece, schema.judgement, schema.standing_piece
    tray_id = select(schema.shot.c.tray_id).where(schema.shot.c.id == shot_id).scalar_subquery()
    query = (
        select(piece.c.piece, judgement.c.verdict, judgement.c.x_px, judgement.c.y_px)
        .join(stands, stands.c.piece_id == piece.c.id)
        .join(judgement, judgement.c.id == stands.c.judgement_id)
        .where(piece.c.tray_id == tray_id)
        .order_by(piece.c.piece)
    )
    with store.read() as connection:
        rows = connection.execute(query).all()
    return tuple(Neighbour(row.piece, row.verdict, None if row.x_px is None else (row.x_px, row.y_px)) for row in rows)


def part_of(store: Store, name: str) -> Part | None:
    """A part as filed last, or None where no drawing of it was filed.

    Parameters
    ----------
    store
        An open store.
    name
        The part's.

    Returns
    -------
    Part | None
        Outline in mm, as filed.
    """
    body = _newest_body(store, schema.part, schema.part.c.part == name)
    return None if body is None else part_record(unpack(body))


def station_of(store: Store, name: str) -> Station | None:
    """A station as filed last, or None where it was never filed.

    Parameters
    ----------
    store
        An open store.
    name
        The station's.

    Returns
    -------
    Station | None
        As filed.
    """
    body = _newest_body(store, schema.station, schema.station.c.station == name)
    return None if body is None else station_record(unpack(body))


def _newest_body(store: Store, table: Any, named: Any) -> bytes | None:
    with store.read() as connection:
        body: bytes | None = connection.execute(
            select(table.c.body).where(named).order_by(table.c.id.desc()).limit(1)
        ).scalar()
    return body


def profile_of(store: Store, judgement_id: int) -> Profile | None:
    """A judgement's profile along the outline, or None where none was filed.

    Parameters
    ----------
    store
        An open store.
    judgement_id
        Row of a judgement.

    Returns
    -------
    Profile | None
        Deviations in mm along the outline, as filed.
    """
    query = select(schema.profile.c.body).where(schema.profile.c.judgement_id == judgement_id)
    with store.read() as connection:
        body = connection.execute(query).scalar()
    return None if body is None else unpack_profile(body)
