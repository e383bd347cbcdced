"""Whether what was filed still stands as it was filed: the chain walked link by link, what stands now, the files."""

import hashlib
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Row, func, select, text

from app.store.database import schema
from app.store.database.connection import Store
from app.store.evidence.chain import BEGIN, Head, hash_of, head_of
from app.store.evidence.rows import AT_ONCE, KINDS, digests, key_of
from app.store.people.queue_lines import first_amiss

# What stands is made from the acts: the pieces of a tray are those of the act that stands, each once.
_DERIVED = """
SELECT {a}.piece_id FROM {a} LEFT JOIN {b} ON {b}.piece_id = {a}.piece_id AND {b}.judgement_id = {a}.judgement_id
WHERE {b}.piece_id IS NULL ORDER BY {a}.piece_id LIMIT 1
"""
_OF_ACTS = """
WITH made AS (
    SELECT judgement.piece_id, judgement.id AS judgement_id FROM standing_tray
    JOIN judging ON judging.id = standing_tray.judging_id JOIN judgement ON judgement.filing_id = judging.filing_id
    UNION SELECT judgement.piece_id, judgement.id FROM standing_tray
    JOIN judging ON judging.id = standing_tray.judging_id
    JOIN filing_known ON filing_known.filing_id = judging.filing_id
    JOIN judgement ON judgement.id = filing_known.judgement_id)
"""
_NEWEST_ACT = """
SELECT standing_tray.tray_id FROM standing_tray
JOIN judging AS now ON now.id = standing_tray.judging_id
JOIN filing AS nf ON nf.id = now.filing_id JOIN shot_identity AS ni ON ni.shot_id = nf.shot_id
JOIN shot ON shot.tray_id = standing_tray.tray_id
JOIN shot_identity AS i ON i.shot_id = shot.id JOIN filing AS f ON f.shot_id = shot.id
JOIN judging AS j ON j.filing_id = f.id AND j.stood = 1
WHERE i.place > ni.place OR (i.place = ni.place AND j.id > now.id) ORDER BY standing_tray.tray_id LIMIT 1
"""

_OF_TRAYS = """
SELECT stands.tray_id FROM standing_tray AS stands
JOIN judging ON judging.id = stands.judging_id JOIN filing ON filing.id = judging.filing_id
JOIN shot ON shot.id = filing.shot_id LEFT JOIN (
    SELECT piece.tray_id, COUNT(*) AS pieces,
        SUM(CASE WHEN judgement.verdict = 'review' THEN 1 ELSE 0 END) AS review,
        SUM(CASE WHEN judgement.verdict = 'reject' THEN 1 ELSE 0 END) AS reject
    FROM standing_piece JOIN piece ON piece.id = standing_piece.piece_id
    JOIN judgement ON judgement.id = standing_piece.judgement_id GROUP BY piece.tray_id) AS made
    ON made.tray_id = stands.tray_id
WHERE stands.part <> shot.part OR COALESCE(stands.taken_at, '') <> COALESCE(shot.taken_at, '')
    OR stands.pieces <> COALESCE(made.pieces, 0) OR stands.review <> COALESCE(made.review, 0)
    OR stands.reject <> COALESCE(made.reject, 0) ORDER BY stands.tray_id LIMIT 1
"""
_OF_LOTS = """
WITH made AS (
    SELECT tray.lot_id, stands.part, COUNT(*) AS trays, SUM(stands.pieces) AS pieces, SUM(stands.review) AS review,
        SUM(stands.reject) AS reject, COALESCE(MIN(stands.taken_at), '') AS first
    FROM standing_tray AS stands JOIN tray ON tray.id = stands.tray_id
    WHERE tray.lot_id IS NOT NULL GROUP BY tray.lot_id, stands.part),
kept AS (SELECT lot_id, part, trays, pieces, review, reject, COALESCE(first_taken_at, '') AS first FROM lot_sum)
SELECT lot_id FROM (
    SELECT * FROM (SELECT * FROM made EXCEPT SELECT * FROM kept) AS lacking
    UNION ALL SELECT * FROM (SELECT * FROM kept EXCEPT SELECT * FROM made) AS strange) AS wrong ORDER BY lot_id LIMIT 1
"""


@dataclass(frozen=True, slots=True)
class Broken:
    """Something that does not hold: `link` is its number in the chain, None where it has none; `what` names it."""

    link: int | None
    what: str


@dataclass(frozen=True, slots=True)
class Verified:
    """What the walk came to; `broken` is in the order of the chain, then what stands now, then files.

    `files` are those looked at; `forgotten` those that a rule of the works has let go, which the chain says.
    """

    head: Head
    files: int
    forgotten: int
    broken: tuple[Broken, ...]


def verify(store: Store, root: Path | None, known: Head | None = None) -> Verified:
    """Walk the chain over everything filed, and the files on disk.

    Parameters
    ----------
    store
        An open store.
    root
        The works folder that paths are kept relative to; None leaves files out.
    known
        A head that was printed or signed: the chain must have held it. Only against such a head a chain that was
        written anew as a whole, or cut at its end, can be told.

    Returns
    -------
    Verified
        The head, files that hold or were forgotten by rule, and a line for whatever is broken.
    """
    with store.read() as connection:
        head = head_of(connection)
        broken = [*_walk(connection), *_without_link(connection), *_standing(connection)]
        broken += _queue(connection) if not broken else ()
        if known is not None:
            broken = [*_against(connection, head, known), *broken]
        files = _Files(0, 0, {}) if root is None else _files(connection, root)
    if files.broken:  # that took a while: what was filed anew or forgotten meanwhile is no longer as it was asked for
        with store.read() as connection:
            again = _files(connection, root or Path(), files.broken.keys())
        held = files.held - len(files.broken) + again.held
        files = _Files(held, files.forgotten + again.forgotten, again.broken)
    broken += [Broken(None, what) for what in files.broken.values()]
    return Verified(head, files.held, files.forgotten, tuple(broken))


def _walk(connection: Connection) -> Iterator[Broken]:
    """Each link: its number follows, its hash holds the one before, its row is there and as it was."""
    table = schema.chain_link
    last, expected, after = BEGIN, 1, 0
    while links := connection.execute(
        select(table).where(table.c.id > after).order_by(table.c.id).limit(AT_ONCE)
    ).all():
        now = _digests_now(connection, links)
        for link in links:
            if link.id != expected:
                yield Broken(expected, f"link {expected} is missing")
            if hash_of(last, link.kind, link.row_id, link.digest) != link.hash:
                yield Broken(link.id, f"the link itself was changed, or one before it: {link.kind} {link.row_id}")
            found = now.get((link.kind, link.row_id))
            if found is None:
                yield Broken(link.id, f"{link.kind} {link.row_id} is gone")
            elif found != link.digest:
                yield Broken(link.id, f"{link.kind} {link.row_id}, or what belongs to it, was changed")
            last, expected, after = link.hash, link.id + 1, link.id


def _digests_now(connection: Connection, links: Sequence[Row[tuple[object, ...]]]) -> dict[tuple[str, int], str]:
    found: dict[tuple[str, int], str] = {}
    for kind in {link.kind for link in links} & KINDS.keys():
        ids = [link.row_id for link in links if link.kind == kind]
        found |= {(kind, one): digest for one, digest in digests(connection, kind, ids).items()}
    return found


def _without_link(connection: Connection) -> Iterator[Broken]:
    """Rows that were written past the program: they have no link."""
    for kind in KINDS:
        key = key_of(kind)
        query = (
            f"SELECT t.{key} FROM {kind} AS t WHERE NOT EXISTS "
            f"(SELECT 1 FROM chain_link AS l WHERE l.kind = '{kind}' AND l.row_id = t.{key}) ORDER BY 1 LIMIT 1"
        )
        row_id = connection.execute(text(query)).scalar()
        if row_id is not None:
            yield Broken(None, f"{kind} {row_id} was not filed by the program: it has no link")


def _standing(connection: Connection) -> Iterator[Broken]:
    """What stands now, which is rewritten and so has no links: made again from the acts."""
    for one, other in (("standing_piece", "made"), ("made", "standing_piece")):
        piece = connection.execute(text(_OF_ACTS + _DERIVED.format(a=one, b=other))).scalar()
        if piece is not None:
            yield Broken(None, f"what stands of piece {piece} is not what the act that stands says")
            return
    tray = connection.execute(text(_NEWEST_ACT)).scalar()
    if tray is not None:
        yield Broken(None, f"what stands of tray {tray} is not its newest act")
    tray = connection.execute(text(_OF_TRAYS)).scalar()
    if tray is not None:
        yield Broken(None, f"what is kept of tray {tray} is not what its shot and pieces say")
    lot = connection.execute(text(_OF_LOTS)).scalar()
    if lot is not None:
        yield Broken(None, f"the sums kept of lot {lot} are not those of its trays")


def _queue(connection: Connection) -> Iterator[Broken]:
    """The queue, made again from what was filed; that must hold itself."""
    piece = first_amiss(connection)
    if piece is not None:
        yield Broken(None, f"the line kept of piece {piece} in the queue is not what was filed of it")


def _against(connection: Connection, head: Head, known: Head) -> Iterator[Broken]:
    table = schema.chain_link
    if known.links > head.links:
        yield Broken(head.links + 1, f"the chain was cut: it had {known.links} links, now {head.links}")
        return
    then = connection.execute(select(table.c.hash).where(table.c.id == known.links)).scalar()
    if (then or BEGIN) != known.hash:
        yield Broken(known.links, "the chain was written anew: at this link its head was another")


@dataclass(frozen=True, slots=True)
class _Files:
    held: int
    forgotten: int
    broken: dict[str, str]


def _files(connection: Connection, root: Path, only: Collection[str] | None = None) -> _Files:
    """Every file kept, as it was filed last, those forgotten by rule left out; what is amiss by the path kept.

    `only`: these paths alone.
    """
    table, gone = schema.kept_file, schema.forgotten
    newest = select(func.max(table.c.id)).group_by(table.c.path)
    query = select(table.c.id, table.c.path, table.c.digest).where(table.c.id.in_(newest)).order_by(table.c.id)
    forgotten = {(row.path, row.digest) for row in connection.execute(select(gone.c.path, gone.c.digest))}
    count, let_go, broken = 0, 0, {}
    for row in connection.execute(query):
        if only is not None and row.path not in only:
            continue
        if (row.path, row.digest) in forgotten:
            let_go += 1
            continue
        count += 1
        path = root / row.path
        try:
            found = file_digest(path)
        except OSError:
            broken[row.path] = f"file {path} is gone"
            continue
        if found != row.digest:
            broken[row.path] = f"file {path} was changed"
    return _Files(count, let_go, broken)


def file_digest(path: Path) -> str:
    """SHA-256 of a file's bytes.

    Parameters
    ----------
    path
        A file.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
