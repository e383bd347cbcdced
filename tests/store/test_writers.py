"""Writers at once, each a connection of its own: every verdict is there, once."""

import threading
from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import pytest
from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store, now, open_store
from app.store.evidence.verify import verify
from app.store.lots.lot_list import list_lots
from app.store.lots.revisions import file_limits
from app.store.people.queue_lines import lay_out_all
from app.store.people.review_queue import waiting_count
from app.store.people.verdicts import NewVerdict, give
from app.store.people.wanted import Wanted
from app.store.results.filing import file_result
from tests.store.made import LIMITS, made_tray, to_file
from vision.errors import Unusable

WRITERS = 8
EACH = 4


def at_once(place: str, count: int, work: Callable[[Store, int], object]) -> list[BaseException]:
    """Have many work side by side, each with the store opened by itself; what went wrong."""
    faults: list[BaseException] = []

    def write(writer: int) -> None:
        own = open_store(place)
        try:
            work(own, writer)
        except BaseException as fault:  # noqa: BLE001 - told to the test's own thread
            faults.append(fault)
        finally:
            own.close()

    writers = [threading.Thread(target=write, args=(k,)) for k in range(count)]
    for one in writers:
        one.start()
    for one in writers:
        one.join()
    return faults


def test_every_verdict_is_there_once(place: str, store: Store) -> None:
    file_result(store, to_file(made_tray()))

    def write(own: Store, writer: int) -> None:
        for number in range(EACH):
            uid = f"{writer}-{number}"
            one = NewVerdict(uid, 1 + number % 3, None, f"P{writer}", "declared", "reject", (), "", now())
            give(own, one)
            give(own, one)  # the outbox sends again what it is not sure of

    assert at_once(place, WRITERS, write) == []
    with store.read() as connection:
        uids = Counter(connection.execute(select(schema.verdict.c.uid)).scalars())
    assert uids == Counter(f"{writer}-{number}" for writer in range(WRITERS) for number in range(EACH))


def test_trays_filed_at_once_share_their_part_and_lot(place: str, store: Store) -> None:
    def write(own: Store, writer: int) -> None:
        for number in range(2):
            file_result(own, to_file(made_tray(f"T-{writer}-{number}")))

    assert at_once(place, 8, write) == []
    with store.read() as connection:
        assert len(connection.execute(select(schema.part)).all()) == 1
        assert len(connection.execute(select(schema.lot)).all()) == 1
        assert len(connection.execute(select(schema.judgement)).all()) == 8 * 2 * 3
    assert [(one.trays, one.pieces, one.review, one.reject) for one in list_lots(store)] == [(16, 48, 16, 16)]
    assert verify(store, None).broken == ()


@pytest.mark.parametrize("alike", [True, False])
def test_a_released_revision_filed_by_many_at_once_is_one_set(place: str, store: Store, alike: bool) -> None:
    """Stations that file the same limits all succeed; of different ones under one number a single set stands."""
    start = threading.Barrier(WRITERS)

    def write(own: Store, writer: int) -> None:
        limits = LIMITS if alike else replace(LIMITS, coverage=0.9 + writer / 1000)
        start.wait()
        with own.write() as connection:
            file_limits(connection, limits)

    refused = at_once(place, WRITERS, write)
    assert [type(one) for one in refused] == [Unusable] * (0 if alike else WRITERS - 1)
    with store.read() as connection:
        assert len(connection.execute(select(schema.limits_revision)).all()) == 1


def test_a_verdict_given_while_the_queue_is_made_again_is_in_it(place: str, store: Store) -> None:
    """Each of the two waits for the other where they would meet; none takes the other's work away."""
    file_result(store, to_file(made_tray()))
    before = waiting_count(store, Wanted())
    own = open_store(place)
    given = threading.Thread(
        target=give, args=(own, NewVerdict("v", 3, None, "R. Hale", "declared", "reject", (), "", now()))
    )
    with store.write() as connection:
        lay_out_all(connection)
        given.start()
        if connection.dialect.name == "postgresql":
            waits = "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock'"
            while not connection.exec_driver_sql(waits).scalar():
                given.join(0.01)
    given.join()
    assert waiting_count(store, Wanted()) == before - 1
    assert verify(store, None).broken == ()
    own.close()
