"""Release and hold of lots in the store; the command and its report."""

import json
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import text

from app.cli.main import main
from app.store.connection import Store
from app.store.decisions import Decision, decide, decisions
from app.store.filing import file_result
from app.store.lot_state import lot_state
from app.store.station_checks import file_checks
from app.store.verdicts import Given, give
from app.store.works import Works, new_works
from tests.store.made import made_piece, made_tray, to_file
from tests.store.test_station_checks import check
from vision.errors import Unusable

LOT = "L-2611-07"


def file_trays(store: Store, count: int, first: int = 0) -> None:
    for k in range(first, first + count):
        tray = made_tray(f"T-{k:03}", taken_at=f"2026-11-02T06:{k:02}:00+00:00", die=f"D{k % 2 + 1}")
        file_result(store, to_file(tray))


def decision(word: str, **more: object) -> Decision:
    given = {"uid": word, "lot": LOT, "decision": word, "given_by": "R. Hale", "identity": "declared", "why": "checked"}
    return Decision(**{**given, "seen": {"pieces": 6}, **more})  # type: ignore[arg-type]


def test_decisions_are_kept_once_and_the_newest_counts(store: Store) -> None:
    file_trays(store, 1)
    assert lot_state(store, LOT).standing == "open"
    decide(store, decision("hold"))
    decide(store, decision("hold"))
    decide(store, decision("release"))
    assert [one.decision for one in decisions(store, LOT)] == ["hold", "release"]
    assert decisions(store, LOT)[1].seen == {"pieces": 6}
    assert lot_state(store, LOT).standing == "released"
    with pytest.raises(Unusable, match="append-only"), store.write() as connection:
        connection.execute(text("UPDATE lot_decision SET why = 'x'"))


@pytest.mark.parametrize(("more", "said"), [({"given_by": " "}, "a name and a reason"), ({"lot": "L-0"}, "L-0")])
def test_a_decision_without_name_or_lot_is_refused(store: Store, more: dict[str, str], said: str) -> None:
    file_trays(store, 1)
    with pytest.raises(Unusable, match=said):
        decide(store, decision("release", **more))
    assert decisions(store, LOT) == ()


def test_trays_that_come_after_a_release_reopen_the_question(store: Store) -> None:
    file_trays(store, 2)
    decide(store, decision("release"))
    file_trays(store, 1, first=2)
    state = lot_state(store, LOT)
    assert state.late_trays == ("T-002",)
    assert state.standing == "released, then more trays came"


def test_what_speaks_against_a_release(store: Store) -> None:
    file_trays(store, 2)
    state = lot_state(store, LOT)
    assert state.figures.fates["waiting"] == 2
    assert "2 of its pieces wait" in (state.why_not_released(False) or "")
    assert state.why_not_released(True) is None
    for piece in state.content.pieces:
        if piece.verdict == "review":
            uid = f"{piece.tray}-{piece.piece}"
            give(
                store, Given(uid, piece.piece_id, None, "R. Hale", "declared", "accept", (), "", "2026-11-02T09:00:00Z")
            )
    state = lot_state(store, LOT)
    assert (state.figures.fates["accepted"], state.figures.to_packing) == (2, 4)
    assert state.why_not_released(False) is None
    file_checks(store, [check(5, "pass"), check(9, "stop")])
    assert "2 of its trays are to be judged again" in (lot_state(store, LOT).why_not_released(True) or "")


def test_figures_do_not_change_when_a_tray_is_filed_twice_or_judged_anew(store: Store) -> None:
    file_trays(store, 2)
    before = lot_state(store, LOT).figures
    file_trays(store, 2)
    assert lot_state(store, LOT).figures.fates == before.fates
    better = made_tray(
        "T-000", [made_piece(k, "pass") for k in (1, 2, 3)], taken_at="2026-11-02T06:00:00+00:00", die="D1"
    )
    file_result(store, to_file(better))
    assert lot_state(store, LOT).figures.fates["passed"] == before.fates["passed"] + 2


@pytest.fixture
def works(tmp_path: Path) -> Works:
    made = new_works(tmp_path / "works", "Aldermoor Flatware Works")
    store = made.open()
    file_trays(store, 4)
    store.close()
    return made


def call(monkeypatch: pytest.MonkeyPatch, *words: object) -> int:
    monkeypatch.setattr(sys, "argv", ["brightbowl", "lot", *map(str, words)])
    try:
        main()
    except SystemExit as leave:
        return int(leave.code or 0)
    return 0


def test_the_command_reports_the_same_bytes_each_time(
    works: Works, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call(monkeypatch, "--works", works.folder) == 0
    assert f"{LOT}: TS-135; 4 trays, 12 pieces, review 4, reject 4; open" in capsys.readouterr().out
    for name in ("a", "b"):
        assert call(monkeypatch, LOT, "--works", works.folder, "--out", tmp_path / name) == 0
    assert (tmp_path / "a" / "lot.html").read_bytes() == (tmp_path / "b" / "lot.html").read_bytes()
    page, table = (tmp_path / "a" / "lot.html").read_text(), json.loads((tmp_path / "a" / "lot.json").read_text())
    assert (table["to_packing"], table["fates"]["waiting"], len(table["results"])) == (4, 4, 12)
    assert {one["name"]: one["count"] for one in table["reasons"]} == {
        "outline_out_mm.bowl": 4,
        "scratch_longest_mm": 4,
    }
    assert [(one["name"], one["of"]) for one in table["by"]["die"]] == [("D1", 6), ("D2", 6)]
    # Reasons, by die, over time, and the drawing with the places where marks come back: every made piece has the same.
    assert page.count("<svg") == 4
    assert "a fixture or a mould that all of them pass" in page
    assert "4 of 12 pieces may be packed" in page
    assert "Presses, trimming and buffing machines" in page


def test_release_by_the_command(
    works: Works, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    told = ("--works", works.folder, "--release", "--by", "R. Hale", "--why", "seen")
    assert call(monkeypatch, LOT, *told) == 2
    assert "4 of its pieces wait for review" in capsys.readouterr().err
    assert call(monkeypatch, LOT, "--works", works.folder, "--release", "--leave-waiting") == 2
    assert "--by NAME and --why REASON" in capsys.readouterr().err
    assert call(monkeypatch, LOT, *told, "--leave-waiting") == 0
    assert "release by R. Hale" in capsys.readouterr().out


def test_a_sampled_lot_is_released_only_if_its_sample_says_so(
    works: Works, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    told = ("--works", works.folder, "--release", "--by", "R. Hale", "--why", "seen", "--leave-waiting")
    assert call(monkeypatch, LOT, *told, "--size", 3) == 2
    assert "12 or more" in capsys.readouterr().err
    # A lot of 100, letter F: 20 pieces, accept 0 at AQL 0.65; four are bad among the twelve.
    assert call(monkeypatch, LOT, *told, "--size", 100, "--aql", 0.65) == 2
    assert "its sample says: not accepted" in capsys.readouterr().err
    assert call(monkeypatch, LOT, "--works", works.folder, "--aql", 0.65) == 0
    assert "20 pieces, accept 0; bad 4: not accepted" in capsys.readouterr().out


def test_a_lot_that_is_not_there_is_named_in_one_line(
    works: Works, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call(monkeypatch, "L-0", "--works", works.folder) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert f"one of {LOT} (found L-0)" in said


def test_a_lot_of_two_parts_asks_which(store: Store) -> None:
    file_trays(store, 1)
    file_result(store, to_file(replace(made_tray("T-900"), part="DS-182")))
    with pytest.raises(Unusable, match="DS-182, TS-135"):
        lot_state(store, LOT)
    assert lot_state(store, LOT, "DS-182").figures.trays == 1
