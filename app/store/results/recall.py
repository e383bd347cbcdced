"""Results back out of the store, as the records they were filed from."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.database.definitions import NOTHING_FOUND, surface_record, unpack
from vision.records import Digests, JudgedPiece, Pose, Reason, TrayFinding, TrayResult, Value

_TRAYS_AT_ONCE = 100
_KEYS_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Which:
    """Which trays; None takes all."""

    lot: str | None = None
    part: str | None = None
    tray: str | None = None


def recall_results(store: Store, which: Which = Which()) -> Iterator[TrayResult]:
    """Every tray's result as it stands, in the order of filing.

    Parameters
    ----------
    store
        An open store.
    which
        Lots, parts or trays.

    Yields
    ------
    Iterator[TrayResult]
        A result at a time.
    """
    filing, shot, judging, stands = schema.filing, schema.shot, schema.judging, schema.standing_tray
    query = (
        select(
            filing.c.id,
            filing.c.limits_revision,
            filing.c.software,
            judging.c.judged_at,
            judging.c.part_digest,
            judging.c.station_digest,
            judging.c.limits_digest,
            schema.shot_identity.c.frames,
            shot.c.id.label("shot_id"),
            shot.c.part,
            shot.c.station,
            shot.c.taken_at,
            schema.tray.c.id.label("tray_id"),
            schema.tray.c.tray,
            schema.lot.c.lot,
        )
        .join(judging, judging.c.filing_id == filing.c.id)
        .join(stands, stands.c.judging_id == judging.c.id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(schema.shot_identity, schema.shot_identity.c.shot_id == shot.c.id)
        .join(schema.tray, schema.tray.c.id == stands.c.tray_id)
        .outerjoin(schema.lot, schema.lot.c.id == schema.tray.c.lot_id)
        .order_by(judging.c.id)
    )
    if which.lot is not None:
        query = query.where(schema.lot.c.lot == which.lot)
    if which.part is not None:
        query = query.where(shot.c.part == which.part)
    if which.tray is not None:
        query = query.where(schema.tray.c.tray == which.tray)
    with store.read() as connection:
        heads = connection.execute(query).all()
        for start in range(0, len(heads), _TRAYS_AT_ONCE):
            yield from _results(connection, heads[start : start + _TRAYS_AT_ONCE])


def _results(connection: Connection, heads: Sequence[Any]) -> Iterator[TrayResult]:
    piece, stands, found = schema.piece, schema.standing_piece, schema.tray_finding
    newest = (
        select(piece.c.tray_id, stands.c.judgement_id.label("id"))
        .join(stands, stands.c.piece_id == piece.c.id)
        .where(piece.c.tray_id.in_([head.tray_id for head in heads]))
        .order_by(piece.c.tray_id, piece.c.piece)
    )
    of_tray: dict[int, list[int]] = {}
    for row in connection.execute(newest):
        of_tray.setdefault(row.tray_id, []).append(row.id)
    pieces = judged_pieces(connection, [one for ids in of_tray.values() for one in ids])
    findings: dict[int, list[TrayFinding]] = {}
    said = select(found).where(found.c.filing_id.in_([head.id for head in heads])).order_by(found.c.place)
    for row in connection.execute(said):
        center = None if row.x_px is None else (row.x_px, row.y_px)
        findings.setdefault(row.filing_id, []).append(TrayFinding(row.kind, center, row.detail))
    process = process_values(connection, [head.shot_id for head in heads])
    for head in heads:
        yield TrayResult(
            software=head.software,
            tray=head.tray,
            lot=head.lot,
            part=head.part,
            station=head.station,
            taken_at=head.taken_at,
            limits_revision=head.limits_revision,
            pieces=tuple(pieces[one] for one in of_tray.get(head.tray_id, [])),
            tray_findings=tuple(findings.get(head.id, ())),
            process=process.get(head.shot_id, {}),
            judged_at=head.judged_at,
            digests=_digests(head),
        )


def _digests(head: Any) -> Digests | None:
    known = (head.part_digest, head.station_digest, head.limits_digest, head.frames)
    return None if None in known else Digests(*known)


def process_values(connection: Connection, shot_ids: Sequence[int]) -> dict[int, dict[str, str | float]]:
    """The process values of shots, by shot."""
    table = schema.process_value
    values: dict[int, dict[str, str | float]] = {}
    for row in connection.execute(select(table).where(table.c.shot_id.in_(shot_ids)).order_by(table.c.name)):
        values.setdefault(row.shot_id, {})[row.name] = row.number if row.words is None else row.words
    return values


def judged_pieces(connection: Connection, judgement_ids: Sequence[int]) -> dict[int, JudgedPiece]:
    """Judgements by their ids."""
    judged: dict[int, JudgedPiece] = {}
    for start in range(0, len(judgement_ids), _KEYS_AT_ONCE):
        judged.update(_judged_pieces(connection, judgement_ids[start : start + _KEYS_AT_ONCE]))
    return judged


def _judged_pieces(connection: Connection, judgement_ids: Sequence[int]) -> dict[int, JudgedPiece]:
    table, piece = schema.judgement, schema.piece
    rows = connection.execute(
        select(table, piece.c.piece).join(piece, piece.c.id == table.c.piece_id).where(table.c.id.in_(judgement_ids))
    ).all()
    measures: dict[int, dict[str, Value]] = {}
    uncertainties: dict[int, dict[str, Value]] = {}
    for row in _of(connection, schema.measure, judgement_ids):
        _put(measures.setdefault(row.judgement_id, {}), row.measure, row.zone, row.value)
        _put(uncertainties.setdefault(row.judgement_id, {}), row.measure, row.zone, row.uncertainty)
    bodies = {row.judgement_id: row.body for row in _of(connection, schema.finding_list, judgement_ids)}
    surfaces = {
        int(row.id): surface_record(unpack(bodies[row.id]) if row.id in bodies else NOTHING_FOUND) for row in rows
    }
    reasons: dict[int, list[Reason]] = {}
    for row in sorted(_of(connection, schema.reason, judgement_ids), key=lambda one: one.place):
        severity = row._mapping["class"]
        said = reasons.setdefault(row.judgement_id, [])
        behind = surfaces[row.judgement_id].behind
        rests = behind[len(said)] if behind else ((), ())
        value = (row.value, row.uncertainty, row.lower, row.upper)
        said.append(Reason(row.measure, row.zone, *value, severity, row.outcome, row.conformance, *rests))
    judged = {}
    for row in rows:
        surface = surfaces[row.id]
        judged[int(row.id)] = JudgedPiece(
            piece=row.piece,
            verdict=row.verdict,
            reasons=tuple(reasons.get(row.id, ())),
            fault=row.fault,
            pose=None if row.x_px is None else Pose((row.x_px, row.y_px), row.angle_deg, row.fit_rms_mm),
            measures=measures.get(row.id, {}),
            uncertainties=uncertainties.get(row.id, {}),
            findings=surface.findings,
            counted=surface.counted,
            detection=surface.detection,
            seen=surface.seen,
            places=surface.places,
        )
    return judged


def _of(connection: Connection, table: Any, judgement_ids: Sequence[int]) -> Sequence[Row[Any]]:
    return connection.execute(select(table).where(table.c.judgement_id.in_(judgement_ids))).all()


def _put(values: dict[str, Value], measure: str, zone: str, value: float | None) -> None:
    if not zone:
        values[measure] = value
        return
    zones = values.setdefault(measure, {})
    assert isinstance(zones, dict)
    zones[zone] = value
