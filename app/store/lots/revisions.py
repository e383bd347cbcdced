"""Limits with every revision; who put which into force and why; and how a set of limits stands in a works."""

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace

from sqlalchemy import Connection, and_, func, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.definitions import digest, limits_content, limits_record, pack, unpack
from app.store.database.rows import add, ensure_allowed
from app.store.evidence.chain import hold_end
from app.store.people.actor import Acted
from vision.errors import Unusable
from vision.records import Limits, LimitsStanding

BEFORE_ROLES = "before roles"
_STANDING: dict[str | None, LimitsStanding] = {None: "released by nobody", BEFORE_ROLES: "released before roles"}
_AT_ONCE = 500  # keys in one query: SQLite of old took 999 at most


@dataclass(frozen=True, slots=True)
class Revision:
    """One set of limits as filed.

    `released_by` and those after it are of the newest act that put it into force, None where nobody did.
    """

    id: int
    limits: Limits
    filed_at: str
    released_by: str | None
    identity: str | None
    why: str | None
    released_at: str | None
    in_force: bool


def file_limits(connection: Connection, limits: Limits) -> int:
    """Keep a set of limits; the id of its row.

    A draft may be filed again and again as it changes: each state is kept. A released revision is one set for ever.

    Parameters
    ----------
    connection
        A transaction of the store.
    limits
        Limits of a part.

    Returns
    -------
    int
        The row.

    Raises
    ------
    Unusable
        That revision was released with other content.
    """
    same = _filed_as(connection, limits)
    if same is not None:
        return same
    content = limits_content(limits)
    key = {"part": limits.part, "revision": limits.revision, "digest": digest(content)}
    more = {"status": limits.status, "body": pack(content), "filed_at": now()}
    # Inserted first and looked for then: whoever comes second finds the first one's row, whatever the order.
    kept = ensure_allowed(connection, schema.limits_revision, key, more)
    if kept is None:
        raise Unusable(
            f"limits of {limits.part}",
            f"revision {limits.revision}",
            "expected the limits that were released under this number; give changed limits the next number",
            "other limits",
        )
    return kept


def _filed_as(connection: Connection, limits: Limits) -> int | None:
    """The row that holds the same limits, also one written when limits had fewer keys, those absent taken as unset."""
    table = schema.limits_revision
    query = select(table.c.id, table.c.body).where(
        table.c.part == limits.part, table.c.revision == limits.revision, table.c.status == limits.status
    )
    rows = connection.execute(query.order_by(table.c.id.desc()))
    return next((int(row.id) for row in rows if limits_record(unpack(row.body)) == limits), None)


def release(
    store: Store,
    limits: Limits,
    acted: Acted,
    shown: Collection[int] | None = None,
    write: Callable[[Limits], None] = lambda _: None,
) -> Revision:
    """Put limits into force for their part, a draft or a revision that was in force before; filed as released.

    Parameters
    ----------
    store
        An open store.
    limits
        Limits of a part.
    acted
        Who does it, and why.
    shown
        The limits (`Revision.id`) that the person saw in force: where others are by now, nothing is released.
    write
        Writes the released limits where they judge, before anything is kept: where it fails nothing was released.

    Returns
    -------
    Revision
        The revision, in force.

    Raises
    ------
    Unusable
        Name or reason are missing, these limits are in force already, their number was released with others, or others
        came into force since it was shown; and whatever `write` raises.
    """
    where = f"limits of {limits.part}"
    if not acted.by.strip() or not acted.why.strip():
        raise Unusable(where, "release", "expected a name and a reason; neither may be empty")
    released = replace(limits, status="released")
    with store.write() as connection:
        hold_end(connection)
        if shown is not None and _ruling(connection, limits.part) != frozenset(shown):
            expected = "the limits in force as they were shown; look at those in force now, then release"
            raise Unusable(where, "release", expected, _last_act_words(connection, limits.part))
        limits_id = file_limits(connection, released)
        newest = _newest_act(connection, limits.part)
        if newest is not None and newest == (limits_id, False):
            raise Unusable(where, f"revision {limits.revision}", "expected a revision that is not in force already")
        values = {"limits_id": limits_id, "given_by": acted.by, "identity": acted.known, "why": acted.why}
        add(connection, schema.limits_act, {**values, "given_at": now()})
        write(released)
    return next(one for one in revisions(store, limits.part) if one.id == limits_id)


def revisions(store: Store, part: str) -> tuple[Revision, ...]:
    """Every set of limits filed for a part, in the order of their numbers and then of filing.

    Parameters
    ----------
    store
        An open store.
    part
        The part's name.

    Returns
    -------
    tuple[Revision, ...]
        With who released each, when and why, and whether it is in force.
    """
    table, act = schema.limits_revision, schema.limits_act
    query = select(table).where(table.c.part == part).order_by(table.c.revision, table.c.id)
    acts = select(act).join(table, table.c.id == act.c.limits_id).where(table.c.part == part).order_by(act.c.id)
    with store.read() as connection:
        rows = connection.execute(query).all()
        newest = {row.limits_id: row for row in connection.execute(acts)}
        ruling = _ruling(connection, part)
    found = []
    for row in rows:
        last = newest.get(row.id)
        one = Revision(row.id, limits_record(unpack(row.body)), row.filed_at, None, None, None, None, row.id in ruling)
        if last is not None:
            said = {"released_by": last.given_by, "identity": last.identity, "why": last.why}
            one = replace(one, **said, released_at=last.given_at)
        found.append(one)
    return tuple(found)


def limits_standing(store: Store, limits: Limits, people_listed: bool) -> LimitsStanding:
    """How limits stand in a store.

    Parameters
    ----------
    store
        An open store.
    limits
        Limits of a part.
    people_listed
        Whether the works lists people; one that lists none judges by any released file until its first release.

    Returns
    -------
    LimitsStanding
        In force, or in which way not.
    """
    if limits.status == "draft":
        return "draft"
    with store.read() as connection:
        same = _filed_as(connection, limits)
        if same in _ruling(connection, limits.part):
            newest = _newest_act(connection, limits.part)
            return "released before roles" if newest is not None and newest[1] else "in force"
        nobody = not people_listed and _newest_act(connection, limits.part) is None
        return "released by nobody" if nobody else "not in force"


def _newest_act(connection: Connection, part: str) -> tuple[int, bool] | None:
    """The limits that the newest act put into force, and whether that was before roles."""
    act, table = schema.limits_act, schema.limits_revision
    query = select(act.c.limits_id, act.c.identity).join(table, table.c.id == act.c.limits_id)
    row = connection.execute(query.where(table.c.part == part).order_by(act.c.id.desc()).limit(1)).first()
    return None if row is None else (int(row.limits_id), row.identity == BEFORE_ROLES)


def _last_act_words(connection: Connection, part: str) -> str:
    act, table = schema.limits_act, schema.limits_revision
    query = select(act.c.given_by, act.c.why, table.c.revision).join(table, table.c.id == act.c.limits_id)
    last = connection.execute(query.where(table.c.part == part).order_by(act.c.id.desc()).limit(1)).one()
    return f"since then {last.given_by} put revision {last.revision} into force: {last.why}"


def _ruling(connection: Connection, part: str) -> frozenset[int]:
    """The limits in force: those of the newest act; while nobody acted, all that the old store held as released."""
    newest = _newest_act(connection, part)
    if newest is None:
        return frozenset()
    if not newest[1]:
        return frozenset((newest[0],))
    act, table = schema.limits_act, schema.limits_revision
    query = select(act.c.limits_id).join(table, table.c.id == act.c.limits_id).where(table.c.part == part)
    return frozenset(connection.execute(query).scalars())


def standings_of(connection: Connection, judging_ids: Iterable[int]) -> dict[int, LimitsStanding | None]:
    """How the limits stand that judgings which count were made by; None where nothing says which those were."""
    judging, act, ids = schema.judging, schema.limits_act, sorted(judging_ids)
    newest = select(func.max(act.c.id)).group_by(act.c.limits_id)
    query = (
        select(judging.c.id, judging.c.limits_id, act.c.identity)
        .outerjoin(act, and_(act.c.limits_id == judging.c.limits_id, act.c.id.in_(newest)))
        .order_by(judging.c.id)
    )
    found: dict[int, LimitsStanding | None] = {}
    for start in range(0, len(ids), _AT_ONCE):
        for row in connection.execute(query.where(judging.c.id.in_(ids[start : start + _AT_ONCE]))):
            found[row.id] = None if row.limits_id is None else _STANDING.get(row.identity, "in force")
    return found


def limits_of(connection: Connection, part: str, revision: int) -> Limits | None:
    """The limits of one revision as filed last (a released set before a draft), or None where they were never filed.

    Parameters
    ----------
    connection
        A transaction of the store.
    part
        The part's name.
    revision
        Its number.

    Returns
    -------
    Limits | None
        The limits, or none.
    """
    table = schema.limits_revision
    query = (
        select(table.c.body)
        .where(table.c.part == part, table.c.revision == revision)
        .order_by(table.c.status.desc(), table.c.id.desc())
        .limit(1)
    )
    body = connection.execute(query).scalar()
    return None if body is None else limits_record(unpack(body))
