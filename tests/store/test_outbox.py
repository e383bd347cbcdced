"""Messages to the line: one whenever what stands changed, numbered by station without gaps or repeats."""

import json
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from app.store.database.connection import Store, open_store
from app.store.line import outbox
from app.store.line.outbox import make_messages, mark_sent, unsent
from app.store.results.filing import file_result
from tests.store.made import made_piece, made_tray, to_file


def file_trays(store: Store, *trays: str, station: str = "ST-1") -> None:
    for tray in trays:
        file_result(store, to_file(replace(made_tray(tray), station=station)))


def test_a_message_tells_a_sorter_what_to_do(store: Store) -> None:
    file_trays(store, "T-1")
    assert make_messages(store) == 1
    (message,) = unsent(store)
    told = json.loads(message.payload)
    assert (told["format"], told["sequence"], told["station"], told["tray"], told["lot"]) == (
        1,
        1,
        "ST-1",
        "T-1",
        "L-2611-07",
    )
    assert [(one["piece"], one["verdict"], one["reason"]) for one in told["pieces"]] == [
        (1, "pass", None),
        (2, "review", "scratch_longest_mm"),
        (3, "reject", "outline_out_mm.bowl"),
    ]
    assert told["pieces"][0]["center_px"] == [1490.2, 400.0]


def test_what_stands_is_told_once_and_again_when_it_changes(store: Store) -> None:
    file_trays(store, "T-1", "T-1")
    assert (make_messages(store), make_messages(store)) == (1, 0)
    file_result(store, to_file(made_tray("T-1", [made_piece(2, "pass")])))
    assert make_messages(store) == 1
    told = [json.loads(one.payload) for one in unsent(store)]
    assert [one["sequence"] for one in told] == [1, 2]
    assert [(one["piece"], one["verdict"]) for one in told[1]["pieces"]] == [(2, "pass")]
    assert told[0]["uid"] != told[1]["uid"]


def test_each_station_counts_for_itself_and_sent_ones_are_gone(store: Store) -> None:
    file_trays(store, "T-1", "T-2")
    file_trays(store, "T-3", station="ST-2")
    make_messages(store)
    waiting = unsent(store)
    assert [(one.station, one.sequence) for one in waiting] == [("ST-1", 1), ("ST-1", 2), ("ST-2", 1)]
    mark_sent(store, waiting[0])
    mark_sent(store, waiting[0])
    assert [(one.station, one.sequence) for one in unsent(store)] == [("ST-1", 2), ("ST-2", 1)]


def test_a_clock_set_back_changes_no_order(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter(("2026-11-25T12:00:00+00:00", "2026-11-25T03:00:00+00:00"))
    monkeypatch.setattr(outbox, "now", lambda: next(clock))
    for tray in ("T-1", "T-2"):
        file_trays(store, tray)
        make_messages(store)
    assert [(one.sequence, json.loads(one.payload)["tray"]) for one in unsent(store)] == [(1, "T-1"), (2, "T-2")]


def test_two_makers_at_once_leave_neither_gaps_nor_repeats(place: str, opened: Callable[[str | Path], Store]) -> None:
    store = opened(place)
    file_trays(store, *(f"T-{k:02}" for k in range(30)))

    def make() -> None:
        own = open_store(place)
        while make_messages(own, at_most=3):
            pass
        own.close()

    makers = [threading.Thread(target=make) for _ in range(3)]
    for one in makers:
        one.start()
    for one in makers:
        one.join()
    assert [one.sequence for one in unsent(store)] == list(range(1, 31))
