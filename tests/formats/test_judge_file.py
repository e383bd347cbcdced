"""judge.toml: what is written is read back, and what can't be a judge is refused with its key."""

from dataclasses import replace
from pathlib import Path

import pytest

from vision.errors import Unusable
from vision.face.lines.features import LINE_FEATURES
from vision.face.spots.features import SIZED_FEATURES, SPOT_FEATURES
from vision.formats import read_judge, shipped_judge, write_judge


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    judge = replace(shipped_judge(), status="draft", revision=7)
    write_judge(judge, tmp_path / "judge.toml")
    again = read_judge(tmp_path / "judge.toml")
    assert replace(again, digest="") == replace(judge, digest="")
    assert again.digest != judge.digest
    write_judge(again, tmp_path / "twice.toml")
    assert read_judge(tmp_path / "twice.toml").digest == again.digest


@pytest.mark.parametrize(
    ("was", "becomes", "key"),
    [
        ("revision = 1", "revision = 0", "revision"),
        ('status = "released"', 'status = "loved"', "status"),
        ("width = 0.2", "width = 0.0", "scratch_seen.width"),
        ("sieve_least = 0", "sieve_least = 1", "sieve_least"),
        ("[lines]", "[lines]\nbeside = 1", "lines.beside"),
        ("log_odds = [", "log_odds = [1.0, ", "curve"),
        ("edges = [", "edges = [1e9, ", "curve"),
        ("calibration = [[", "calibration = [[0.0, 2.0], [", "calibration"),
    ],
)
def test_what_is_no_judge_is_refused_with_its_key(tmp_path: Path, was: str, becomes: str, key: str) -> None:
    path = tmp_path / "judge.toml"
    write_judge(shipped_judge(), path)
    text = path.read_text(encoding="utf-8")
    assert was in text
    path.write_text(text.replace(was, becomes, 1), encoding="utf-8")
    with pytest.raises(Unusable, match=key):
        read_judge(path)


def test_the_judge_that_comes_with_the_program_reads_only_features_there_are() -> None:
    judge = shipped_judge()
    lines = {one.name for one in LINE_FEATURES}
    spots = {one.name for one in SPOT_FEATURES}
    sized = {one.name for one in SIZED_FEATURES}
    assert judge.status == "released"
    assert {one.feature for one in judge.lines.curves} <= lines
    assert {one.feature for one in judge.sieve.curves} <= spots
    assert {one.feature for one in (*judge.spots.curves, *judge.dust.curves)} <= spots | sized


@pytest.mark.parametrize("model", ["lines", "sieve", "spots"])
def test_its_curves_rise_and_fall_where_physics_says_so(model: str) -> None:
    ways = {one.name: one.rises for one in (*LINE_FEATURES, *SPOT_FEATURES, *SIZED_FEATURES)}
    if model == "lines":
        ways.update({one.name: one.rises for one in LINE_FEATURES})
    for curve in getattr(shipped_judge(), model).curves:
        steps = [after - before for before, after in zip(curve.log_odds[:-1], curve.log_odds[1:], strict=True)]
        assert all(step * ways[curve.feature] >= -1e-4 for step in steps if ways[curve.feature]), curve.feature
