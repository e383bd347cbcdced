"""`brightbowl demo`: from nothing to judged spoons and a page to look at."""

import sys
from pathlib import Path

import pytest

import app.cli.demo
from app.cli.main import main
from vision.files.result import read_result


def test_demo_renders_judges_and_says_where_to_look(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(app.cli.demo, "_LOTS", (("TS-135", "plain", 1),))
    monkeypatch.setattr(sys, "argv", ["brightbowl", "demo", "--out", str(tmp_path / "demo"), "--jobs", "1"])
    with pytest.raises(SystemExit) as leave:
        main()
    assert leave.value.code == 0
    told = capsys.readouterr()
    assert told.err == ""
    results = tmp_path / "demo" / "results" / "TS-135"
    assert f"look at {results / 'index.html'}" in told.out
    assert "1 tray judged, 3 pieces" in told.out
    (stored,) = results.glob("*/result.json")
    assert len(read_result(stored).pieces) == 3
    assert (stored.parent / "result.html").exists()
