"""Judgements of a tray's pieces into their tables, all pieces at once."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy import Connection, Table, insert, select

from app.store.database import schema
from app.store.database.definitions import NOTHING_FOUND, pack, pack_profile, surface_content
from app.store.evidence.chain import link_later
from vision.formats import Profile
from vision.records import JudgedPiece, Reason, Value


@dataclass(frozen=True, slots=True)
class Tray:
    """Where judgements go: the tray's row and the filing's."""

    tray_id: int
    filing_id: int


def file_judgements(
    connection: Connection, tray: Tray, pieces: Sequence[JudgedPiece], digests: Mapping[int, str]
) -> list[int]:
    """File the judgements that are not there yet; the ids of their pieces. Those known before are named as known.

    Parameters
    ----------
    digests
        By piece: equal judgements have equal ones.
    """
    ids = _piece_ids(connection, tray.tray_id, [judged.piece for judged in pieces])
    table = schema.judgement
    held = select(table.c.id, table.c.piece_id, table.c.digest).where(table.c.piece_id.in_(list(ids.values())))
    known = {(row.piece_id, row.digest): row.id for row in connection.execute(held)}
    told = {(ids[judged.piece], digests[judged.piece]) for judged in pieces}
    again = [{"filing_id": tray.filing_id, "judgement_id": known[one]} for one in sorted(told & known.keys())]
    _insert(connection, schema.filing_known, again)
    fresh = [judged for judged in pieces if (ids[judged.piece], digests[judged.piece]) not in known]
    if not fresh:
        return []
    rows = [_row(judged, tray.filing_id, ids[judged.piece], digests[judged.piece]) for judged in fresh]
    made = connection.execute(insert(table).returning(table.c.id, sort_by_parameter_order=True), rows).scalars().all()
    numbered = list(zip(made, fresh, strict=True))
    _insert(connection, schema.measure, [row for one, judged in numbered for row in _measures(one, judged)])
    _insert(connection, schema.reason, [row for one, judged in numbered for row in _reasons(one, judged)])
    findings = [
        {"judgement_id": one, "body": pack(content)}
        for one, judged in numbered
        if (content := surface_content(judged)) != NOTHING_FOUND
    ]
    _insert(connection, schema.finding_list, findings)
    return [ids[judged.piece] for judged in fresh]


def file_profiles(connection: Connection, judgement_ids: Mapping[int, int], profiles: Mapping[int, Profile]) -> None:
    """Keep the profiles of judgements that have none yet; `judgement_ids` are by piece id, `profiles` by number."""
    piece, profile = schema.piece, schema.profile
    numbered = select(piece.c.id, piece.c.piece).where(piece.c.id.in_(list(judgement_ids)))
    wanted = {
        judgement_ids[row.id]: profiles[row.piece] for row in connection.execute(numbered) if row.piece in profiles
    }
    held = select(profile.c.judgement_id).where(profile.c.judgement_id.in_(list(wanted)))
    there = set(connection.execute(held).scalars())
    rows = [{"judgement_id": one, "body": pack_profile(of)} for one, of in wanted.items() if one not in there]
    _insert(connection, profile, rows)
    link_later(connection, "profile", [one for one in wanted if one not in there])


@dataclass(frozen=True, slots=True)
class _Value:
    """A measure's value as it is kept; `zone` empty where it is not taken per zone."""

    measure: str
    zone: str
    value: float | None
    uncertainty: float | None


def _values(judged: JudgedPiece) -> list[_Value]:
    """What was measured of a piece, one by one."""
    found: list[_Value] = []
    for name, value in judged.measures.items():
        uncertainty = judged.uncertainties.get(name)
        if isinstance(value, Mapping):
            found.extend(_Value(name, zone, one, _of_zone(uncertainty, zone)) for zone, one in value.items())
        else:
            found.append(_Value(name, "", value, None if isinstance(uncertainty, Mapping) else uncertainty))
    return found


def piece_content(judged: JudgedPiece) -> list[Any]:
    """All that is said of a piece, as JSON content: what makes two judgements equal."""
    pose = judged.pose
    return [
        judged.piece,
        judged.verdict,
        judged.fault,
        None if pose is None else [*pose.center_px, pose.angle_deg, pose.fit_rms_mm],
        [[one.measure, one.zone, one.value, one.uncertainty] for one in _values(judged)],
        [_reason_content(reason) for reason in judged.reasons],
        surface_content(judged),
    ]


def _reason_content(r: Reason) -> list[Any]:
    """A reason as JSON content; without a chance where it has none, so that older ones keep their digest."""
    chance = [] if r.conformance is None else [r.conformance]
    return [r.measure, r.zone, r.value, r.uncertainty, r.min, r.max, r.severity, r.outcome, *chance]


def _piece_ids(connection: Connection, tray_id: int, numbers: Sequence[int]) -> dict[int, int]:
    """The ids of a tray's pieces by number, made where they are missing."""
    table = schema.piece
    query = select(table.c.piece, table.c.id).where(table.c.tray_id == tray_id)
    known = {int(row.piece): int(row.id) for row in connection.execute(query)}
    missing = [{"tray_id": tray_id, "piece": number} for number in numbers if number not in known]
    if missing:
        _insert(connection, table, missing)
        known = {int(row.piece): int(row.id) for row in connection.execute(query)}
    return known


def _row(judged: JudgedPiece, filing_id: int, piece_id: int, digest: str) -> dict[str, Any]:
    pose = judged.pose
    x_px, y_px = (None, None) if pose is None else pose.center_px
    return {
        "piece_id": piece_id,
        "filing_id": filing_id,
        "digest": digest,
        "verdict": judged.verdict,
        "fault": judged.fault,
        "x_px": x_px,
        "y_px": y_px,
        "angle_deg": None if pose is None else pose.angle_deg,
        "fit_rms_mm": None if pose is None else pose.fit_rms_mm,
    }


def _measures(judgement_id: int, judged: JudgedPiece) -> list[dict[str, Any]]:
    return [{"judgement_id": judgement_id, **asdict(one)} for one in _values(judged)]


def _reasons(judgement_id: int, judged: JudgedPiece) -> list[dict[str, Any]]:
    return [
        {
            "judgement_id": judgement_id,
            "place": place,
            "measure": reason.measure,
            "zone": reason.zone,
            "value": reason.value,
            "uncertainty": reason.uncertainty,
            "lower": reason.min,
            "upper": reason.max,
            "class": reason.severity,
            "outcome": reason.outcome,
            "conformance": reason.conformance,
        }
        for place, reason in enumerate(judged.reasons)
    ]


def _insert(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    if rows:
        connection.execute(insert(table), rows)


def _of_zone(value: Value, zone: str) -> float | None:
    return value.get(zone) if isinstance(value, Mapping) else value
