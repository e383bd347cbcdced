"""`brightbowl demo`: from nothing to judged spoons and a page to look at."""

from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

import synthetic_images.demo
from app.store.lots.revisions import revisions
from app.store.people.blind_rounds import blinds, turns_left
from app.works.first_steps import first_steps
from app.works.folder import read_works
from synthetic_images.demo import DemoLine, DemoWorks
from synthetic_images.spoons import PATTERNS
from synthetic_images.trays.shots import Order, render_shots
from tests.shell import Run
from vision.formats.result import read_result


def one_tray(folder: Path, trays: int, rendered: Callable[[], object]) -> DemoWorks:
    """A demo lot of one line and one tray, so that the test stays short."""
    assert trays == 3
    line = folder / "shots" / "teaspoons"
    for _ in render_shots(line / "shots", Order("plain", PATTERNS["TS-135"], 1, 2611)):
        rendered()
    files = [line / name for name in ("part.toml", "station.toml", "limits.toml")]
    for file in (*files, line / "outline.dxf"):
        (line / "shots" / file.name).rename(file)
    (folder / "reference").mkdir()
    (folder / "reference" / "reference.toml").write_text("")
    lines = (DemoLine("TS-135", line / "shots", *files),)
    return DemoWorks(folder, lines, folder / "clean", folder / "pictures", folder / "reference")


def test_demo_is_a_whole_works_and_quick_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run) -> None:
    monkeypatch.setattr(synthetic_images.demo, "render_demo", one_tray)
    out = tmp_path / "demo"
    words = ("demo", "--out", out, "--trays", 3, "--jobs", 1)
    told = run(*words)
    assert told.code == 0, told.err
    (stored,) = (out / "results").glob("TS-135/ST-1/*/*/result.json")
    assert f"look at {out / 'results' / 'TS-135' / 'ST-1' / 'index.html'}" in told.out
    assert "1 tray judged, 3 pieces" in told.out
    assert len(read_result(stored).pieces) == 3
    assert (stored.parent / "result.html").exists()
    assert told.out.splitlines()[-1] == f"open the pages: brightbowl serve --works {out}"
    works = read_works(out)
    assert {person.name for person in works.people} == {"R. Hale", "M. Okafor", "J. Lind"}
    assert [step.name for step in first_steps(works) if not step.done] == []
    with closing(works.open()) as store:
        (blind,) = blinds(store)
        assert len(turns_left(store, blind, "M. Okafor")) == 2  # of three, one is judged
        assert revisions(store, "TS-135")[0].in_force
    monkeypatch.setattr(synthetic_images.demo, "render_demo", None)
    again = run(*words)
    assert again.code == 0
    assert "is there already" in again.out
