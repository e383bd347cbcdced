"""`brightbowl inspect` over every kind of poison: each named in its line, the others judged."""

import sys
from pathlib import Path

import pytest

from app.cli.main import main
from tests.watch.poison import KINDS, loop
from tests.watch.watching import drop, make_works


def test_a_run_over_poison_judges_the_others_and_names_each(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    works, shot = make_works(tmp_path / "made")
    inbox, made = tmp_path / "inbox", tmp_path / "poison"
    inbox.mkdir()
    loop(inbox)
    for number, spoil in enumerate(KINDS.values()):
        spoil(drop(shot, made, f"P-{number:03}"))
        (poison,) = made.iterdir()
        poison.rename(inbox / poison.name)
    for number in range(3):
        drop(shot, inbox, f"T-{number}")
    arguments = ["inspect", str(inbox), "--works", str(works.folder), "--no-pictures"]
    monkeypatch.setattr(sys, "argv", ["brightbowl", *arguments])
    with pytest.raises(SystemExit) as leave:
        main()
    said, wrong = capfd.readouterr()
    assert leave.value.code == 1, wrong
    assert "3 trays judged, 3 pieces" in said
    lines = wrong.splitlines()
    assert all(line.startswith("brightbowl: ") and line.isprintable() for line in lines)
    assert not any("fault of this software" in line for line in lines)
    assert len(lines) == len(KINDS) + 1  # and the folder that is no shot
