"""Result files are believed only as far as their verdicts follow from their own measures, counts and limits."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.store.made import LIMITS, made_piece, made_tray
from vision.decide.believable import against_limits, unfounded
from vision.decide.verdicts import rejudge
from vision.errors import Unusable
from vision.formats.result import as_table, read_result


def test_what_was_judged_is_believed() -> None:
    for verdict in ("pass", "review", "reject"):
        piece = made_piece(1, verdict)
        assert unfounded(piece) == ""
        judged = rejudge(piece, LIMITS)
        assert (unfounded(judged), against_limits(judged, LIMITS)) == ("", "")


def test_a_better_verdict_than_the_limits_give_is_not() -> None:
    judged = rejudge(made_piece(1, "reject"), LIMITS)
    assert judged.verdict == "reject"
    better = replace(judged, verdict="pass", reasons=())
    assert unfounded(better) == ""  # nothing beside it speaks against it, but the limits do
    assert "reject follows from its measures and limits" in against_limits(better, LIMITS)


def test_a_count_that_its_findings_do_not_give_is_not() -> None:
    judged = rejudge(made_piece(1, "reject"), LIMITS)
    fewer = replace(judged, measures={**judged.measures, "scratch_count": 0.0})
    assert "scratch_count is" in against_limits(fewer, LIMITS)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda piece: piece.update(verdict="pass"), "pieces[3].verdict"),
        (lambda piece: piece.update(verdict="review"), "pieces[3].verdict"),
        (lambda piece: piece.update(reasons=[]), "pass follows from its reasons, not reject"),
        (lambda piece: piece["reasons"][0].update(value=0.14), "another value than the measure"),
        (lambda piece: piece["reasons"][0].update(uncertainty=0.5), "another value than the measure"),
        (lambda piece: piece["reasons"][0].update(max=0.5), "lies within its limits"),
        (lambda piece: piece["reasons"][0].update(measure="width_mm"), "another value than the measure"),
        (lambda piece: piece["reasons"][0].update(uncertainty=-0.011), "uncertainty"),
        (lambda piece: piece["uncertainties"].update(length_mm=-0.1), "uncertainties"),
        (lambda piece: piece["findings"][3].update(diameter_mm=-0.3), "diameter_mm"),
        (lambda piece: piece["findings"][2].update(length_mm=-2.0), "length_mm"),
        (lambda piece: piece["pose"].update(fit_rms_mm=-1.0), "fit_rms_mm"),
        (lambda piece: piece.update(piece=1), "each piece once"),
    ],
)
def test_a_result_that_contradicts_itself_is_refused(tmp_path: Path, spoil: Any, said: str) -> None:
    table = json.loads(json.dumps(as_table(made_tray())))
    path = tmp_path / "result.json"
    path.write_text(json.dumps(table))
    read_result(path)
    spoil(table["pieces"][2])
    path.write_text(json.dumps(table))
    with pytest.raises(Unusable) as told:
        read_result(path)
    assert said in str(told.value)
