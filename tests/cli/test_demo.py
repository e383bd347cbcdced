"""`brightbowl demo`: from nothing to judged spoons and a page to look at."""

import sys
from pathlib import Path

import pytest

import synthetic_images.demo
from app.cli.main import main
from synthetic_images.demo import DemoLine, DemoWorks
from synthetic_images.spoons import PATTERNS
from synthetic_images.trays.shots import Order, render_shots
from vision.formats.result import read_result


def one_tray(folder: Path, trays: int) -> DemoWorks:
    """A demo lot of one line and one tray, so that the test stays short."""
    assert trays == 3
    line = folder / "teaspoons"
    for _ in render_shots(line / "shots", Order("plain", PATTERNS["TS-135"], 1, 2611)):
        continue
    files = (line / "shots" / name for name in ("part.toml", "station.toml", "limits.toml"))
    return DemoWorks(folder, (DemoLine("TS-135", line / "shots", *files),))


def test_demo_renders_judges_and_says_where_to_look(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(synthetic_images.demo, "render_demo", one_tray)
    words = ["brightbowl", "demo", "--out", str(tmp_path / "demo"), "--trays", "3", "--jobs", "1"]
    monkeypatch.setattr(sys, "argv", words)
    with pytest.raises(SystemExit) as leave:
        main()
    assert leave.value.code == 0
    told = capsys.readouterr()
    assert told.err == ""
    (stored,) = (tmp_path / "demo" / "results").glob("*/*/result.json")
    assert f"look at {stored.parents[1] / 'index.html'}" in told.out
    assert "1 tray judged, 3 pieces" in told.out
    assert len(read_result(stored).pieces) == 3
    assert (stored.parent / "result.html").exists()
