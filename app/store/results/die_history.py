"""The dies of a part through all its trays: mean profiles against strokes, and every mark with its place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Connection, Table, func, select

from app.statistics import EDGE_KINDS, FACE_KINDS, UNNAMED, Ground, Mark
from app.store.database import schema
from app.store.database.connection import Store
from app.store.database.definitions import digest, part_content, surface_record, unpack, unpack_profile
from app.store.lots.revisions import limits_of
from app.store.results.recall import process_values
from app.store.results.shown import part_of
from app.studies import DIE, STROKES, DieHistory, DieTray, put_together
from vision.errors import Unusable
from vision.geometry import arc_lengths, points_at, signed_area
from vision.records import Array, EdgeFinding, Limits, Part, Pit, Scratch

STEP_MM = 0.5
"""Places along the outline stand about so far apart: finer than any wear."""
_SHOTS_AT_ONCE = 50


@dataclass(frozen=True, slots=True, eq=False)
class PartHistory:
    """A part with all its dies.

    `histories`: of dies whose trays say their strokes; `marks` that count on every piece; `pieces_by_die`; `limits`
    (newest filed, None where none was) and `ground` for chance.
    """

    part: Part
    lot: str | None
    histories: tuple[DieHistory, ...]
    marks: tuple[Mark, ...]
    pieces_by_die: Mapping[str, int]
    limits: Limits | None
    ground: Ground


@dataclass(frozen=True, slots=True)
class _PieceRow:
    judgement_id: int
    shot_id: int
    tray: str
    piece: int


@dataclass(frozen=True, slots=True)
class _ReadBy:
    """What a shot is read by: the drawing's digest, the station's calibration, and the judgements of its pieces."""

    drawing: str
    calibration: str
    pieces: tuple[_PieceRow, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ShotRead:
    """What a history takes of one shot: its die, the tray where it tells of wear, and its pieces' marks.

    `key`: the drawing, the station's calibration and the judgements that it was read by.
    """

    key: _ReadBy
    die: str
    tray: DieTray | None
    marks: tuple[Mark, ...]


def history_of(
    store: Store, part_name: str, lot: str | None = None, read: dict[int, ShotRead] | None = None
) -> PartHistory:
    """Read a part's history, of one lot or of all.

    Parameters
    ----------
    store
        An open store.
    part_name
        The part's.
    lot
        Its name; none: all lots.
    read
        What was read of shots before, by shot: not read again, and brought up to date. None: all is read.

    Returns
    -------
    PartHistory
        Deviations in mm by die and tray, marks with their places, and how many pieces of each die there are.

    Raises
    ------
    Unusable
        No drawing of the part was filed, or it has no piece.
    """
    part = part_of(store, part_name)
    if part is None:
        raise Unusable("--part", "", "a part whose trays were inspected into the store", part_name)
    s_mm, zone = _places(part)
    standing = _standing(store, part_name, lot)
    if not standing.pieces:
        of_lot = f" of lot {lot}" if lot else ""
        raise Unusable("--part", "", f"a part{of_lot} with pieces in the store", part_name)
    of_shot: dict[int, list[_PieceRow]] = {}
    for one in standing.pieces:
        of_shot.setdefault(one.shot_id, []).append(one)
    drawing = digest(part_content(part))
    keys = {shot: _ReadBy(drawing, standing.calibrations[shot], tuple(pieces)) for shot, pieces in of_shot.items()}
    known = {} if read is None else {shot: one for shot, one in read.items() if keys.get(shot) == one.key}
    unread = [shot for shot in of_shot if shot not in known]
    with store.read() as connection:
        for start in range(0, len(unread), _SHOTS_AT_ONCE):
            some = {shot: keys[shot] for shot in unread[start : start + _SHOTS_AT_ONCE]}
            known |= _read_shots(connection, some, s_mm)
        limits = limits_of(connection, part_name, standing.limits_revision)
    if read is not None:
        read.clear()
        read.update(known)
    trays: dict[str, list[DieTray]] = {}
    marks: list[Mark] = []
    by_die: dict[str, int] = {}
    for shot, pieces in of_shot.items():
        own = known[shot]
        by_die[own.die] = by_die.get(own.die, 0) + len(pieces)
        marks += own.marks
        if own.tray is not None:
            trays.setdefault(own.die, []).append(own.tray)
    histories = tuple(put_together(trays[die], s_mm, zone, die) for die in sorted(trays))
    ground = Ground(float(arc_lengths(part.outline)[-1]), _face_mm2(part))
    return PartHistory(part, lot, histories, tuple(marks), dict(sorted(by_die.items())), limits, ground)


def history_mark(store: Store) -> tuple[int, ...]:
    """How far the store has come in all that a history is read from: where it is the same, so is the history.

    Parameters
    ----------
    store
        An open store.

    Returns
    -------
    tuple[int, ...]
        Numbers that never fall.
    """
    tables = (schema.judging, schema.choice, schema.limits_revision, schema.filing)
    newest = [select(func.coalesce(func.max(one.c.id), 0)).scalar_subquery() for one in tables]
    with store.read() as connection:
        return tuple(int(value) for value in connection.execute(select(*newest)).one())


def _read_shots(connection: Connection, keys: Mapping[int, _ReadBy], s_mm: Array) -> dict[int, ShotRead]:
    process = process_values(connection, list(keys))
    ids = [one.judgement_id for key in keys.values() for one in key.pieces]
    bodies = _bodies(connection, schema.profile, ids)
    found = _bodies(connection, schema.finding_list, ids)
    read = {}
    for shot, key in keys.items():
        calibration, pieces = key.calibration, key.pieces
        given = process.get(shot, {})
        die, strokes = str(given.get(DIE, UNNAMED)), given.get(STROKES)
        kept = [unpack_profile(bodies[one.judgement_id]) for one in pieces if one.judgement_id in bodies]
        tray = None
        if kept and isinstance(strokes, float):
            stack = np.stack([np.interp(s_mm, one.s_mm, one.deviation_mm) for one in kept])
            tray = DieTray(pieces[0].tray, strokes, len(kept), _mean(stack), calibration)
        marks: list[Mark] = []
        for one in pieces:
            if one.judgement_id in found:
                marks += _marks(unpack(found[one.judgement_id]), one.tray, one.piece, die)
        read[shot] = ShotRead(key, die, tray, tuple(marks))
    return read


def _bodies(connection: Connection, table: Table, judgement_ids: list[int]) -> dict[int, bytes]:
    rows = connection.execute(select(table).where(table.c.judgement_id.in_(judgement_ids)))
    return {row.judgement_id: row.body for row in rows}


@dataclass(frozen=True, slots=True)
class _Standing:
    """All pieces of a part; the newest limits' revision; `calibrations`: by shot the station and its calibration."""

    pieces: tuple[_PieceRow, ...]
    limits_revision: int
    calibrations: Mapping[int, str]


def _standing(store: Store, part: str, lot: str | None) -> _Standing:
    """The judgement that stands of every piece."""
    judgement, filing, shot, piece = schema.judgement, schema.filing, schema.shot, schema.piece
    stands = schema.standing_piece
    query = (
        select(judgement.c.id, shot.c.id, schema.tray.c.tray, piece.c.piece)
        .add_columns(filing.c.limits_revision, shot.c.station, filing.c.station_id)
        .join(stands, stands.c.judgement_id == judgement.c.id)
        .join(piece, piece.c.id == judgement.c.piece_id)
        .join(filing, filing.c.id == judgement.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(schema.tray, schema.tray.c.id == shot.c.tray_id)
        .where(shot.c.part == part)
        .order_by(judgement.c.id)
    )
    if lot is not None:
        query = query.join(schema.lot, schema.lot.c.id == schema.tray.c.lot_id).where(schema.lot.c.lot == lot)
    with store.read() as connection:
        rows = connection.execute(query).all()
    newest_limits = max((row[4] for row in rows), default=0)
    pieces = tuple(_PieceRow(int(row[0]), int(row[1]), str(row[2]), int(row[3])) for row in rows)
    return _Standing(pieces, newest_limits, _calibrations(rows))


def _calibrations(rows: Sequence[Any]) -> dict[int, str]:
    """By shot the station's name, with the number of its calibration where it had several, as they were first filed."""
    of_station: dict[str, list[int]] = {}
    for row in rows:
        known = of_station.setdefault(row.station, [])
        if row.station_id not in known:
            known.append(row.station_id)
    names = {}
    for row in rows:
        known = of_station[row.station]
        number = f", calibration {known.index(row.station_id) + 1}" if len(known) > 1 else ""
        names[int(row[1])] = f"{row.station}{number}"
    return names


def _places(part: Part) -> tuple[Array, tuple[str, ...]]:
    """Places along the outline (mm from its first vertex), and the zone of each."""
    around = float(arc_lengths(part.outline)[-1])
    count = max(8, round(around / STEP_MM))
    s_mm = np.arange(count, dtype=np.float64) * (around / count)
    x = points_at(part.outline, s_mm)[:, 0]
    bounds = sorted((zone.x_mm[1], zone.name) for zone in part.zones)
    index = np.minimum(np.searchsorted([end for end, _ in bounds], x), len(bounds) - 1)
    return s_mm, tuple(bounds[k][1] for k in index)


def _mean(profiles: Array) -> Array:
    """Mean over a tray's pieces at every place; nan where no piece was seen there."""
    seen = np.isfinite(profiles)
    count = seen.sum(axis=0)
    total = np.where(seen, profiles, 0.0).sum(axis=0)
    return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan))


def _marks(content: object, tray: str, piece: int, die: str) -> list[Mark]:
    """The burrs, nicks, scratches and pits of a piece; of scratches their middles."""
    surface = surface_record(content)
    marks = []
    for finding, counts in zip(surface.findings, surface.counted, strict=True):
        if isinstance(finding, EdgeFinding) and finding.kind in EDGE_KINDS:
            marks.append(Mark(finding.kind, *finding.center_mm, tray, piece, die))
        elif isinstance(finding, Scratch) and counts:
            x, y = np.mean(finding.points_mm, axis=0)
            marks.append(Mark("scratch", float(x), float(y), tray, piece, die))
        elif isinstance(finding, Pit) and counts:
            marks.append(Mark(finding.kind, *finding.center_mm, tray, piece, die))
    assert {mark.kind for mark in marks} <= {*EDGE_KINDS, *FACE_KINDS}
    return marks


def _face_mm2(part: Part) -> float:
    """About the scored area: the outline's part between the surface's ends, less the inset along its rim."""
    if part.surface is None:
        return abs(signed_area(part.outline))
    low, high = part.surface.x_mm
    inside = part.outline[(part.outline[:, 0] >= low) & (part.outline[:, 0] <= high)]
    if len(inside) < 3:
        return abs(signed_area(part.outline))
    area, rim = abs(signed_area(inside)), float(arc_lengths(inside)[-1])
    return max(area - part.surface.inset_mm * rim, 0.1 * area)
