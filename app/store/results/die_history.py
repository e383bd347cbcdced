"""The dies of a part through all its trays: mean profiles against strokes, and every mark with its place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Connection, Table, select

from app.statistics import EDGE_KINDS, FACE_KINDS, UNNAMED, Ground, Mark
from app.store.database import schema
from app.store.database.connection import Store
from app.store.database.definitions import surface_record, unpack, unpack_profile
from app.store.lots.revisions import limits_of
from app.store.results.recall import process_values
from app.store.results.shown import part_of
from app.studies import DIE, STROKES, DieHistory, DieTray, put_together
from vision.errors import Unusable
from vision.geometry import arc_lengths, points_at, signed_area
from vision.records import Array, EdgeFinding, Limits, Part, Pit, Scratch

STEP_MM = 0.5
"""Places along the outline stand about so far apart: finer than any wear."""
_ROWS_AT_ONCE = 500


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


def history_of(store: Store, part_name: str, lot: str | None = None) -> PartHistory:
    """Read a part's history, of one lot or of all.

    Parameters
    ----------
    store
        An open store.
    part_name
        The part's.
    lot
        Its name; none: all lots.

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
    trays: dict[str, list[DieTray]] = {}
    marks: list[Mark] = []
    by_die: dict[str, int] = {}
    newest, revision, calibrations = _pieces(store, part_name, lot)
    if not newest:
        of_lot = f" of lot {lot}" if lot else ""
        raise Unusable("--part", "", f"a part{of_lot} with pieces in the store", part_name)
    with store.read() as connection:
        of_shot: dict[int, list[int]] = {}
        head: dict[int, tuple[str, int]] = {}
        for judgement_id, shot_id, tray, piece in newest:
            of_shot.setdefault(shot_id, []).append(judgement_id)
            head[judgement_id] = (tray, piece)
        shots = list(of_shot)
        for start in range(0, len(shots), _ROWS_AT_ONCE // 10):
            some = shots[start : start + _ROWS_AT_ONCE // 10]
            process = process_values(connection, some)
            ids = [one for shot in some for one in of_shot[shot]]
            bodies = _bodies(connection, schema.profile, ids)
            found = _bodies(connection, schema.finding_list, ids)
            for shot in some:
                given = process.get(shot, {})
                die = str(given.get(DIE, UNNAMED))
                by_die[die] = by_die.get(die, 0) + len(of_shot[shot])
                kept = [unpack_profile(bodies[one]) for one in of_shot[shot] if one in bodies]
                strokes = given.get(STROKES)
                if kept and isinstance(strokes, float):
                    stack = np.stack([np.interp(s_mm, one.s_mm, one.deviation_mm) for one in kept])
                    tray = head[of_shot[shot][0]][0]
                    own = DieTray(tray, strokes, len(kept), _mean(stack), calibrations[shot])
                    trays.setdefault(die, []).append(own)
                for one in of_shot[shot]:
                    if one in found:
                        marks += _marks(unpack(found[one]), *head[one], die)
        limits = limits_of(connection, part_name, revision)
    histories = tuple(put_together(trays[die], s_mm, zone, die) for die in sorted(trays))
    ground = Ground(float(arc_lengths(part.outline)[-1]), _face_mm2(part))
    return PartHistory(part, lot, histories, tuple(marks), dict(sorted(by_die.items())), limits, ground)


def _bodies(connection: Connection, table: Table, judgement_ids: list[int]) -> dict[int, bytes]:
    rows = connection.execute(select(table).where(table.c.judgement_id.in_(judgement_ids)))
    return {row.judgement_id: row.body for row in rows}


def _pieces(store: Store, part: str, lot: str | None) -> tuple[list[tuple[int, int, str, int]], int, dict[int, str]]:
    """(judgement, shot, tray, piece) of the judgement that stands of every piece, and the newest limits' revision.

    Besides, by shot, the station and its calibration.
    """
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
    pieces = [(int(row[0]), int(row[1]), str(row[2]), int(row[3])) for row in rows]
    return pieces, newest_limits, _calibrations(rows)


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
