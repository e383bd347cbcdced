"""Acts: each judging of a shot, in the order of filing; the newest of a tray's newest shot is what stands."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, delete, insert, or_, select

from app.store.database import schema
from app.store.database.connection import Store, moment, now
from app.store.database.rows import add
from app.store.lots.sums import sum_up
from app.store.results.shots import Chosen, Place


@dataclass(frozen=True, slots=True)
class ResultFile:
    """A result's file: its path as the store keeps paths, and a digest of its bytes."""

    path: str
    digest: str


@dataclass(frozen=True, slots=True)
class JudgedBy:
    """What a result was judged by: digests as far as they are known, rows of what was filed here."""

    part_digest: str | None
    station_digest: str | None
    limits_digest: str | None
    part_id: int | None = None
    station_id: int | None = None
    limits_id: int | None = None

    @property
    def proven(self) -> bool:
        """Whether all of it is known."""
        return None not in (self.part_digest, self.station_digest, self.limits_digest)


@dataclass(frozen=True, slots=True)
class Act:
    """A judging about to be filed; `now` where it comes from judging itself, and not from a folder filed later."""

    filing_id: int
    place: Place
    judged_at: str | None
    now: bool
    trial: bool
    chosen: Chosen | None


@dataclass(frozen=True, slots=True)
class Became:
    """Whether an act stands, and whether what stood before it was something else."""

    stands: bool
    changed: bool


def file_act(connection: Connection, act: Act, by: JudgedBy, result_file: ResultFile | None) -> Became:
    """File a judging and put what stands in force.

    One that says what its shot's newest says, or that was filed before, changes nothing. One from a folder filed later
    stands only if it was judged later than what stands, or a person says so.
    """
    acts = _acts(connection, act.place.tray_id)
    known = any(
        one.filing_id == act.filing_id
        and (one.proof == "trial") == act.trial
        and act.judged_at in (None, one.judged_at)
        for one in acts
    )
    if act.trial:
        if not known:
            _add(connection, _row(act, by, result_file, stood=False, changed=False))
        return Became(stands=False, changed=False)
    standing = _standing(connection, act.place.tray_id)
    last = next((one for one in reversed(acts) if one.place == act.place.place and one.stood), None)
    moved = act.place.moved
    asked = act.chosen is not None and act.chosen.kind == "stand"
    same = last is not None and last.filing_id == act.filing_id
    stood = not same and (last is None or act.now or asked or (not known and _later(act.judged_at, last)))
    if stood:
        in_force = all(one.place <= act.place.place for one in acts if one.stood)
        changed = in_force and (standing is None or moved or _differs(connection, act))
        judging_id = _add(connection, _row(act, by, result_file, stood=True, changed=changed))
        if in_force:
            _put_in_force(connection, act.place.tray_id, judging_id, act.filing_id)
        return Became(in_force, changed)
    if not (same or known):
        _add(connection, _row(act, by, result_file, stood=False, changed=False))
    if moved and standing is not None:  # what stands now stands elsewhere: an act of its own, of which the line is told
        table = schema.judging
        row = connection.execute(select(table).where(table.c.id == standing)).one()._asdict()
        again = _add(connection, {**row, "stood": 1, "changed": 1, "filed_at": now()})
        _put_in_force(connection, act.place.tray_id, again, row["filing_id"])
        return Became(same, changed=True)
    return Became(same and last is not None and last.id == standing, changed=False)


def _acts(connection: Connection, tray_id: int) -> Sequence[Row[Any]]:
    """Every act on a tray's shots, each with its shot's place, in the order of filing."""
    table, shot, identity = schema.judging, schema.shot, schema.shot_identity
    query = (
        select(table, identity.c.place)
        .join(schema.filing, schema.filing.c.id == table.c.filing_id)
        .join(shot, shot.c.id == schema.filing.c.shot_id)
        .join(identity, identity.c.shot_id == shot.c.id)
        .where(shot.c.tray_id == tray_id)
        .order_by(table.c.id)
    )
    return connection.execute(query).all()


def _later(judged_at: str | None, last: Row[Any]) -> bool:
    """Whether a judging is surely later than another, by the clocks of those who judged."""
    return judged_at is not None and moment(judged_at) > moment(last.judged_at or last.filed_at)


def _row(act: Act, by: JudgedBy, result_file: ResultFile | None, *, stood: bool, changed: bool) -> dict[str, Any]:
    return {
        "filing_id": act.filing_id,
        "limits_id": by.limits_id,
        "judged_at": act.judged_at,
        "part_digest": by.part_digest,
        "station_digest": by.station_digest,
        "limits_digest": by.limits_digest,
        "proof": "trial" if act.trial else "proven" if by.proven else "unproven",
        "stood": int(stood),
        "changed": int(changed),
        "result_path": None if result_file is None else result_file.path,
        "result_digest": None if result_file is None else result_file.digest,
        "filed_at": now(),
    }


def _add(connection: Connection, row: dict[str, Any]) -> int:
    return add(connection, schema.judging, {name: value for name, value in row.items() if name != "id"})


def _standing(connection: Connection, tray_id: int) -> int | None:
    table = schema.standing_tray
    return connection.execute(select(table.c.judging_id).where(table.c.tray_id == tray_id)).scalar()


def standing_path(connection: Connection, tray_id: int) -> str | None:
    """The file of the result that stands, as the store keeps paths; None where none is known."""
    table, stands = schema.judging, schema.standing_tray
    query = select(table.c.result_path).join(stands, stands.c.judging_id == table.c.id)
    return connection.execute(query.where(stands.c.tray_id == tray_id)).scalar()


def newest_path(store: Store, tray: str) -> str | None:
    """The file of the result that stands of the tray of a name, in whatever lot; of several the newest.

    Parameters
    ----------
    store
        An open store.
    tray
        The tray's name.

    Returns
    -------
    str | None
        As the store keeps paths; none where nothing stands.
    """
    table, stands, named = schema.judging, schema.standing_tray, schema.tray
    query = (
        select(table.c.result_path)
        .join(stands, stands.c.judging_id == table.c.id)
        .join(named, named.c.id == stands.c.tray_id)
        .where(named.c.tray == tray)
        .order_by(table.c.id.desc())
        .limit(1)
    )
    with store.read() as connection:
        return connection.execute(query).scalar()


def _differs(connection: Connection, act: Act) -> bool:
    """Whether an act says anything of the tray's pieces that does not stand already."""
    table, piece = schema.standing_piece, schema.piece
    query = select(table).join(piece, piece.c.id == table.c.piece_id).where(piece.c.tray_id == act.place.tray_id)
    stands = {int(row.piece_id): int(row.judgement_id) for row in connection.execute(query)}
    return stands != judgements_of(connection, act.filing_id)


def judgements_of(connection: Connection, filing_id: int) -> dict[int, int]:
    """The judgements that a filing came to, new in it or known before, by piece id."""
    table, known = schema.judgement, schema.filing_known
    before = select(known.c.judgement_id).where(known.c.filing_id == filing_id)
    query = select(table.c.piece_id, table.c.id).where(or_(table.c.filing_id == filing_id, table.c.id.in_(before)))
    return {int(row.piece_id): int(row.id) for row in connection.execute(query)}


def _put_in_force(connection: Connection, tray_id: int, judging_id: int, filing_id: int) -> None:
    """Make a tray stand as one act has it: its pieces are those of that act, each once."""
    tray, piece, table = schema.standing_tray, schema.standing_piece, schema.judgement
    stands = judgements_of(connection, filing_id)
    connection.execute(delete(piece).where(piece.c.piece_id.in_(pieces_of(connection, tray_id))))
    rows = [{"piece_id": one, "judgement_id": of} for one, of in stands.items()]
    if rows:
        connection.execute(insert(piece), rows)
    said = Counter(connection.execute(select(table.c.verdict).where(table.c.id.in_(list(stands.values())))).scalars())
    shot, filing = schema.shot, schema.filing
    of_shot = select(shot.c.part, shot.c.taken_at, schema.tray.c.lot_id).join(filing, filing.c.shot_id == shot.c.id)
    head = connection.execute(
        of_shot.join(schema.tray, schema.tray.c.id == shot.c.tray_id).where(filing.c.id == filing_id)
    ).one()
    counts = {"pieces": len(stands), "review": said["review"], "reject": said["reject"]}
    values = {"judging_id": judging_id, "part": head.part, "taken_at": head.taken_at, **counts}
    connection.execute(delete(tray).where(tray.c.tray_id == tray_id))
    connection.execute(insert(tray).values(tray_id=tray_id, **values))
    sum_up(connection, [head.lot_id])


def pieces_of(connection: Connection, tray_id: int) -> list[int]:
    """The ids of all pieces that a tray ever had."""
    return list(connection.execute(select(schema.piece.c.id).where(schema.piece.c.tray_id == tray_id)).scalars())
