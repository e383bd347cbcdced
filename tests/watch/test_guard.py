"""No tray stops the line, whatever it holds, and whatever nobody thought of."""

from contextlib import closing
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from app.store import dealt_with
from app.watch import loop
from app.watch.loop import Watcher
from app.watch.prepare import Preparer, Ready
from app.works.folder import Works
from tests.run.waiting import until
from tests.watch.poison import KINDS, loop as links_that_lead_back
from tests.watch.watching import drop, drop_spoilt, filed, health, order
from vision.records import TrayResult


@pytest.mark.usefixtures("watching")
def test_every_kind_of_poison_is_set_aside_with_its_reason_and_the_others_go_on(
    works: Works, inbox: Path, shot: Path
) -> None:
    links_that_lead_back(inbox)
    good = []
    for number, spoil in enumerate(KINDS.values()):
        made = drop(shot, inbox.parent / "made", f"P-{number:02}")
        spoil(made)
        (moved,) = (inbox.parent / "made").iterdir()
        moved.rename(inbox / moved.name)
        if number % 8 == 0:
            good.append(drop(shot, inbox, f"T-{number:02}").name)
    until(lambda: filed(works) == good)
    until(lambda: health(works)["set_aside"]["count"] == len(KINDS) + 1)  # and the link to itself
    told = {one["tray"]: one["why"] for one in health(works)["set_aside"]["trays"]}
    assert all(why and why.isprintable() for why in told.values())
    assert not any("fault of this software" in why for why in told.values())
    assert health(works)["state"] == "watching"
    # What was set aside stays so: it is known in the store, by names that every database takes.
    names = order(works, inbox, works.folder)
    with closing(works.open()) as store:
        known = dealt_with(store, [names.key(one.name) for one in inbox.iterdir()])
    assert len(known) == len(KINDS) + 1 + len(good)
    assert filed(works) == good


def test_what_nobody_thought_of_is_set_aside_too(
    works: Works, inbox: Path, shot: Path, watching: Watcher, monkeypatch: pytest.MonkeyPatch
) -> None:
    prepare, file_tray, put_aside = watching.preparer.prepare, loop.file_tray, loop.put_aside

    def prepared(name: str, beside: Any) -> Any:
        if name == "T-0":
            raise ZeroDivisionError("nobody thought\x1b of this")
        return prepare(name, beside)

    def filing(connection: Any, tray: Any) -> Any:
        result: TrayResult = tray.result
        if result.tray == "T-1":
            raise KeyError("nor of this")
        return file_tray(connection, tray)

    def setting_aside(store: Any, folder: str, digest: str, why: str) -> None:
        if folder.endswith("T-2"):
            raise OverflowError("nor that it can't even be told")
        put_aside(store, folder, digest, why)

    monkeypatch.setattr(watching.preparer, "prepare", prepared)
    monkeypatch.setattr(loop, "file_tray", filing)
    monkeypatch.setattr(loop, "put_aside", setting_aside)
    drop_spoilt(shot, inbox, "T-2", lambda folder: (folder / "shot.json").write_text("{"))
    for name in ("T-0", "T-1", "T-3"):
        drop(shot, inbox, name)
    until(lambda: filed(works) == ["T-3"] and health(works).get("set_aside", {}).get("count") == 3)
    told = {one["tray"]: one["why"] for one in health(works)["set_aside"]["trays"]}
    assert "ZeroDivisionError at test_guard.py" in told["T-0"]
    assert "nobody thought\\x1b of this" in told["T-0"]
    assert "KeyError" in told["T-1"]
    assert "OverflowError" in told["T-2"]
    # And a look into the inbox that fails in a new way holds the watcher for a while only.
    scan, failures = watching.inbox.scan, [RuntimeError("the disk said something new"), MemoryError()]
    monkeypatch.setattr(watching.inbox, "scan", lambda: scan() if not failures else _raised(failures.pop()))
    drop(shot, inbox, "T-4")
    until(lambda: filed(works) == ["T-3", "T-4"])


def _raised(fault: Exception) -> Any:
    raise fault


def test_the_watcher_s_own_file_damaged_does_not_stop_it(works: Works, inbox: Path) -> None:
    (works.folder / "watch").mkdir()
    (works.folder / "watch" / "tries.json").write_text("[" * 100_000)
    with closing(works.open()) as store:
        watcher = Watcher(order(works, inbox, works.folder / "watch"), store)
    assert "begun anew" in str(watcher.health.last_error)


def test_layers_of_a_drawing_that_are_left_out_are_told_once(works: Works, inbox: Path, shot: Path) -> None:
    (file,) = works.folder.glob("parts/*/*.dxf")
    drawing = ezdxf.readfile(file)
    drawing.layers.add("NOTES").freeze()
    drawing.modelspace().add_line((0, 0), (1, 1), dxfattribs={"layer": "NOTES"})
    drawing.saveas(file)
    drop(shot, inbox, "T-0")
    said: list[str] = []
    with closing(works.open()) as store:
        preparer = Preparer(order(works, inbox, works.folder), store, said.append)
        for _ in range(2):
            assert isinstance(preparer.prepare("T-0", ()), Ready)
    assert [one.partition(": ")[2] for one in said] == ["left out, since frozen or off: layer notes"]
