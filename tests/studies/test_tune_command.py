"""The command `tune`: what it writes, and how it refuses."""

from pathlib import Path

import pytest

from app.studies.lot import part_as_seen, read_lot
from tests.shell import Ran, Run
from tests.studies.conftest import json_of
from tests.studies.lots import LIMITS
from vision.formats.limits import read_limits


def _tune(run: Run, works: Path, out: Path, *more: object) -> Ran:
    call = ("tune", "--results", works / "results", "--verdicts", works / "verdicts.csv")
    return run(*call, "--limits", works / "limits.toml", "--out", out, *more)


def test_tune_writes_its_study_and_the_next_draft(run: Run, works: Path, tmp_path: Path) -> None:
    draft = tmp_path / "draft.toml"
    ran = _tune(run, works, tmp_path / "out", "--measure", "outline_out_mm", "--max-missed", "0.1", "--write", draft)
    assert ran.code == 0, ran.err
    table = json_of(tmp_path / "out" / "tuning.json")
    setting = table["recommended"]["setting"]
    assert setting is not None
    assert f"{setting:g}" in ran.out
    written = read_limits(draft, part_as_seen(read_lot(works / "results")))
    assert (written.revision, written.status) == (LIMITS.revision + 1, "draft")
    assert [one.max for one in written.limits if one.measure == "outline_out_mm"] == [setting]
    assert read_limits(works / "limits.toml", part_as_seen(read_lot(works / "results"))) == LIMITS
    assert table["recommended"]["rates"]["missed"]["value"] <= 0.1
    assert len(table["curve"]) == len(table["unguarded"])
    assert table["costs"] is None
    page = (tmp_path / "out" / "tuning.html").read_text(encoding="utf-8")
    assert "DeLong" in page
    assert "Cross-validation" in page
    risks = {one["limit"]: one for one in table["risks"]}
    assert 0.0 <= risks["all limits together"]["now"]["consumer"] < 0.02
    assert len(risks["all limits together"]["curve"]) == 25
    assert {one["limit"] for one in table["capability"]} <= set(risks)
    assert "What the limits risk now" in page
    assert "at the limits as they are, all limits together" in ran.out


def test_tune_says_when_the_lot_is_too_small_and_writes_no_draft(run: Run, works: Path, tmp_path: Path) -> None:
    draft = tmp_path / "draft.toml"
    ran = _tune(run, works, tmp_path / "out", "--measure", "outline_out_mm", "--max-missed", "0.001", "--write", draft)
    assert ran.code == 1
    assert "too small" in ran.out
    assert "2995 would do" in ran.out
    assert not draft.exists()
    assert json_of(tmp_path / "out" / "tuning.json")["recommended"]["setting"] is None


def test_tune_takes_counting_rules_and_costs(run: Run, works: Path, tmp_path: Path) -> None:
    costs = ("--cost-missed", "40", "--cost-scrapped", "0.5", "--bad-share", "0.02")
    ran = _tune(run, works, tmp_path / "out", "--measure", "scratch_min_snr", "--max-missed", "0.1", *costs)
    assert ran.code == 0, ran.err
    table = json_of(tmp_path / "out" / "tuning.json")
    assert table["measure"] == "scratch_min_snr"
    assert table["now"]["rates"]["setting"] == 6.0
    assert all(one["cost"] is not None for one in table["curve"])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--measure", "bowl_depth_mm"), "one of outline_out_mm"),
        (("--measure", "outline_out_mm", "--zone", "neck"), "bowl, handle"),
        (("--measure", "outline_out_mm", "--cost-missed", "3"), "together"),
        (("--measure", "bend_deg"), "missing in every piece"),
    ],
)
def test_tune_refuses_in_one_line(run: Run, works: Path, tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    ran = _tune(run, works, tmp_path / "out", *words)
    assert ran.code == 2
    assert said in ran.err
    assert ran.err.count("\n") == 1
    assert not (tmp_path / "out").exists()
