"""Watching an inbox for real: trays as they come, deaths, poison, full disks, a store that can't be written."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from contextlib import closing, suppress
from dataclasses import replace
from pathlib import Path
from threading import Event, Thread

import pytest

from app.store.results.recall import recall_results
from app.watch import attempts
from app.watch.inbox import digest_of
from app.watch.loop import Watcher
from app.watch.prepare import NotReady, Ready
from app.watch.single_instance import alone
from app.works.folder import Works
from tests.run.made import DeadlyWork
from tests.run.waiting import SOON_S, until
from tests.watch.watching import drop, drop_spoilt, filed, health, judgements, order, small_frame, spoilt_frame
from vision.errors import Unusable

ROOT = Path(__file__).parents[2]
BRIGHTBOWL = Path(sys.executable).with_name("brightbowl")


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def change(file: Path, **changes: object) -> None:
    """Change keys of a shot's file."""
    file.write_text(json.dumps({**json.loads(file.read_text()), **changes}))


def held_since(works: Works, why: str) -> None:
    """Wait until the watcher is held for a reason: told in one look, since it tries again meanwhile."""
    until(lambda: (told := health(works)).get("state") == "held" and why in told["held"]["why"])


@pytest.mark.usefixtures("watching")
def test_trays_are_judged_as_they_come_and_the_inbox_stays_as_it_is(works: Works, inbox: Path, shot: Path) -> None:
    drop(shot, inbox, "T-1")
    until(lambda: filed(works) == ["T-1"])
    drop(shot, inbox, "T-2")
    before = contents(inbox)
    until(lambda: filed(works) == ["T-1", "T-2"])
    assert contents(inbox) == before
    until(lambda: health(works).get("judged") == 2)
    told = health(works)
    assert (told["state"], told["queue"], told["waiting"]["count"], told["set_aside"]["count"]) == ("watching", 0, 0, 0)
    assert sum(told["verdicts"].values()) == 2


@pytest.mark.usefixtures("watching")
def test_a_half_written_tray_waits(works: Works, inbox: Path, shot: Path) -> None:
    folder = inbox / "T-1"
    folder.mkdir()
    whole = (shot / "back.png").read_bytes()
    (folder / "shot.json").write_text(json.dumps({**json.loads((shot / "shot.json").read_text()), "tray": "T-1"}))
    until(lambda: "absent" in str(health(works).get("waiting")))
    with (folder / "back.png").open("wb") as frame:
        for start in range(0, len(whole), len(whole) // 8 + 1):
            assert filed(works) == []
            frame.write(whole[start : start + len(whole) // 8 + 1])
            frame.flush()
            time.sleep(0.04)
    until(lambda: filed(works) == ["T-1"])


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (spoilt_frame, "back.png"),
        (lambda folder: (folder / "shot.json").write_text("{"), "shot.json"),
        (
            lambda folder: (folder / "shot.json").write_text(
                (folder / "shot.json").read_text().replace("TS-135", "XX-1")
            ),
            "parts/XX-1/part.toml",
        ),
    ],
    ids=["cut frame", "spoilt shot.json", "unknown part"],
)
@pytest.mark.usefixtures("watching")
def test_a_poison_tray_is_set_aside_and_blocks_no_other_until_it_is_mended(
    works: Works, inbox: Path, shot: Path, spoil: Callable[[Path], object], said: str
) -> None:
    drop_spoilt(shot, inbox, "T-0", spoil)
    drop(shot, inbox, "T-1")
    until(lambda: health(works).get("set_aside", {}).get("count") == 1 and filed(works) == ["T-1"])
    (aside,) = health(works)["set_aside"]["trays"]
    assert aside["tray"] == "T-0"
    assert said in aside["why"]
    for file in ("back.png", "shot.json"):
        (inbox / "T-0" / file).unlink()
    (inbox / "T-0").rmdir()
    drop(shot, inbox, "T-0")
    until(lambda: filed(works) == ["T-0", "T-1"])


def test_a_tray_that_kills_its_process_is_set_aside_and_takes_no_other_along(
    works: Works, inbox: Path, shot: Path, watching: Watcher, monkeypatch: pytest.MonkeyPatch
) -> None:
    prepare = watching.preparer.prepare

    def deadly_for_one(name: str, beside: Iterable[Ready]) -> Ready | NotReady:
        ready = prepare(name, beside)
        if name != "T-0" or isinstance(ready, NotReady):
            return ready
        work = ready.work
        return replace(ready, work=DeadlyWork(work.part, work.station, work.limits, work.out, False, deaths=3))

    monkeypatch.setattr(watching.preparer, "prepare", deadly_for_one)
    drop(shot, inbox, "T-0")
    drop(shot, inbox, "T-1")
    until(lambda: health(works).get("set_aside", {}).get("count") == 1 and filed(works) == ["T-1"])
    assert "T-0: the process that judged it died" in health(works)["set_aside"]["trays"][0]["why"]


@pytest.mark.usefixtures("quick_workers")
def test_a_tray_that_ends_the_watcher_itself_is_not_tried_for_ever(works: Works, inbox: Path, shot: Path) -> None:
    folder = drop(shot, inbox, "T-0")
    (works.folder / "watch").mkdir()
    for _ in range(attempts.MOST_ENDS):  # each begins a try and never comes back
        attempts.AttemptLog(works.folder / "watch" / "tries.json").begin("T-0", digest_of(folder))
    drop(shot, inbox, "T-1")
    store, stop = works.open(), Event()
    with alone(works, inbox) as state:
        thread = Thread(target=Watcher(order(works, inbox, state), store).run, args=(stop,))
        thread.start()
        until(lambda: health(works).get("set_aside", {}).get("count") == 1 and filed(works) == ["T-1"])
        assert "the watcher ended 5 times" in health(works)["set_aside"]["trays"][0]["why"]
        os.utime(folder / "back.png", (1.0, 1.0))  # a person touches it
        until(lambda: filed(works) == ["T-0", "T-1"])
        stop.set()
        thread.join()
    store.close()


def test_a_read_only_store_holds_the_watcher(works: Works, inbox: Path, shot: Path, watching: Watcher) -> None:
    may_write = watching.store
    watching.store = replace(may_write, writer=may_write.reader)
    drop(shot, inbox, "T-1")
    held_since(works, "a store that may be written")
    watching.store = may_write
    until(lambda: filed(works) == ["T-1"])


@pytest.mark.usefixtures("watching")
def test_a_frame_without_a_piece_is_a_result_not_a_poison(works: Works, inbox: Path, shot: Path) -> None:
    drop_spoilt(shot, inbox, "T-0", small_frame)
    until(lambda: filed(works) == ["T-0"] and "nothing measured" in str(health(works).get("last_error")))


@pytest.mark.usefixtures("watching")
def test_a_trays_name_again_in_its_lot_is_set_aside_for_a_choice(works: Works, inbox: Path, shot: Path) -> None:
    drop(shot, inbox, "T-1")
    until(lambda: filed(works) == ["T-1"])
    for name, changes in (("twin", {"tray": "T-1"}), ("again", {"tray": "T-1", "retake": True})):
        drop_spoilt(shot, inbox, name, lambda folder, changes=changes: change(folder / "shot.json", **changes))
    until(lambda: health(works).get("set_aside", {}).get("count") == 1 and judgements(works) == 2)
    assert "another shot of that name is filed" in health(works)["set_aside"]["trays"][0]["why"]
    assert "--retake --by NAME --why REASON" in health(works)["set_aside"]["trays"][0]["why"]


@pytest.mark.usefixtures("watching")
def test_a_full_disk_loses_nothing(works: Works, inbox: Path, shot: Path) -> None:
    # Where a tray's results would lie there is a file: for the watcher as if the place could not be written.
    place = works.results / "TS-135"
    place.mkdir(parents=True)
    (place / "ST-1").write_text("in the way")
    drop(shot, inbox, "T-1")
    held_since(works, "can't be written")
    assert filed(works) == []
    (place / "ST-1").unlink()
    until(lambda: filed(works) == ["T-1"])


@pytest.mark.usefixtures("watching")
def test_a_store_that_can_not_be_written_holds_the_watcher(works: Works, inbox: Path, shot: Path) -> None:
    with closing(works.open()) as other, other.write() as connection:
        connection.exec_driver_sql("CREATE TABLE blocker (x INTEGER)")
        connection.exec_driver_sql(
            "CREATE TRIGGER full BEFORE INSERT ON filing BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END"
        )
    drop(shot, inbox, "T-1")
    held_since(works, "room on the disk")
    assert filed(works) == []
    with closing(works.open()) as other, other.write() as connection:
        connection.exec_driver_sql("DROP TRIGGER full")
    until(lambda: filed(works) == ["T-1"])


@pytest.mark.usefixtures("watching")
def test_a_clock_set_back_is_no_matter(works: Works, inbox: Path, shot: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(time, "time", lambda: 1000.0)
    folder = drop(shot, inbox, "T-1")
    os.utime(folder / "back.png", (1.0, 1.0))
    until(lambda: filed(works) == ["T-1"])


@pytest.mark.long
def test_what_was_dealt_with_stays_so_after_a_restart(works: Works, inbox: Path, shot: Path) -> None:
    drop(shot, inbox, "T-1")
    command = [BRIGHTBOWL, "watch", inbox, "--works", works.folder, "--no-pictures"]
    for life in range(2):
        running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        until(lambda pid=running.pid: filed(works) == ["T-1"] and health(works).get("pid") == pid)
        if life == 0:
            second = subprocess.run(command, capture_output=True, text=True, timeout=60)
            assert second.returncode == 2
            assert second.stderr.count("\n") == 1
            assert f"process {running.pid}" in second.stderr
        running.send_signal(signal.SIGTERM)
        said, wrong = running.communicate(timeout=60)
        assert running.returncode == 0, wrong
        assert health(works)["state"] == "stopped"
        assert health(works)["judged"] == (1 if life == 0 else 0)
        assert "stopped: " in said
    assert judgements(works) == 1


def test_an_inbox_that_holds_the_results_is_refused(works: Works) -> None:
    with pytest.raises(Unusable, match="a folder of tray shots beside"), alone(works, works.folder):
        pass


@pytest.mark.long
def test_two_hundred_trays_and_twenty_deaths(works: Works, inbox: Path, shot: Path) -> None:
    for number in range(100):
        drop(shot, inbox, f"T-{number:03}")
    drill = [sys.executable, "-m", "tests.watch.watching", works.folder, inbox, "20", "7"]
    with subprocess.Popen(drill, cwd=ROOT, stdout=subprocess.PIPE, text=True, start_new_session=True) as running:
        try:
            for number in range(100, 200):
                drop(shot, inbox, f"T-{number:03}")
                time.sleep(0.02)
            assert running.stdout is not None
            *deaths, alive = map(int, running.stdout.readline().split())
            until(lambda: judgements(works) >= 200)
            os.kill(alive, signal.SIGTERM)
            assert running.wait(SOON_S) == 0
        finally:
            with suppress(ProcessLookupError):
                os.killpg(running.pid, signal.SIGKILL)
    # The deaths fell into the middle of the work, not before it or after it.
    assert len(deaths) == 20
    assert len(set(deaths)) > 10
    assert deaths[-1] < 200
    assert filed(works) == [f"T-{number:03}" for number in range(200)]
    assert judgements(works) == 200
    assert health(works)["set_aside"]["count"] == 0
    with closing(works.open()) as store:
        told = {(one.pieces[0].verdict, str(sorted(one.pieces[0].measures.items()))) for one in recall_results(store)}
    assert len(told) == 1
