"""result.json: as agreed, key by key, and back again."""

import copy
import json
import math
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

from tests.formats.agreed_result import AGREED
from tests.formats.made import one_line
from vision.errors import Unusable
from vision.formats.result import as_table, read_result, write_result
from vision.records.judged import JudgedPiece, Reason, TrayResult
from vision.records.marks import Detection, MarkClass, MarkRate
from vision.records.measured import (
    BendFinding,
    EdgeFinding,
    Mark,
    Opening,
    Pit,
    Pose,
    Scratch,
    Speck,
    Stain,
    Stray,
    TrayFinding,
)
from vision.settings import settings_used

# The example of the agreed format, with one finding of each kind; `process` stands only where a shot has some.


def written(folder: Path, table: object) -> Path:
    path = folder / "result.json"
    path.write_text(json.dumps(table))
    return path


def test_the_agreed_example_is_read(tmp_path: Path) -> None:
    result = read_result(written(tmp_path, AGREED))
    first, second = result.pieces
    assert (result.tray, result.lot, result.limits_revision, result.process) == ("T-000123", "L-2611-07", 3, {})
    assert first.reasons == (Reason("outline_out_mm", "bowl", 0.31, 0.011, None, 0.15, "major", "reject"),)
    assert first.pose == Pose((1490.2, 361.0), 3.2, 0.009)
    assert first.counted == (False, False, True, True, *[False] * 5)
    assert [type(finding) for finding in first.findings] == [
        *(EdgeFinding, BendFinding, Scratch, Pit, Speck),
        *(Opening, Stray, Mark, Stain),
    ]
    assert first.measures["outline_out_mm"] == {"bowl": 0.31, "handle": None}
    assert (second.fault, second.pose, second.verdict) == ("cut_off", None, "review")
    assert result.tray_findings[1] == TrayFinding("exposure", None, "too bright")


def test_what_reasons_rest_on_is_written_and_an_index_that_is_not_there_refused(tmp_path: Path) -> None:
    table = copy.deepcopy(AGREED)
    table["pieces"][0]["reasons"][0] |= {"findings": [0, 2], "place_mm": [[12.1, 13.0]]}
    table["pieces"][0]["places"] = {"outline_out_mm": {"bowl": [[12.1, 13.0]]}}
    first = read_result(written(tmp_path, table)).pieces[0]
    assert (first.reasons[0].findings, first.reasons[0].place_mm) == ((0, 2), ((12.1, 13.0),))
    assert first.places["outline_out_mm"]["bowl"] == ((12.1, 13.0),)
    write_result(read_result(written(tmp_path, table)), tmp_path / "again.json")
    assert json.loads((tmp_path / "again.json").read_text()) == table
    table["pieces"][0]["reasons"][0]["findings"] = [99]
    with pytest.raises(Unusable, match="names a finding that is not there"):
        read_result(written(tmp_path, table))


def test_what_is_read_is_written_as_agreed(tmp_path: Path) -> None:
    result = read_result(written(tmp_path, AGREED))
    write_result(result, tmp_path / "again.json")
    assert json.loads((tmp_path / "again.json").read_text()) == AGREED


def test_the_fits_and_the_rate_that_judged_are_written_and_used_again(tmp_path: Path) -> None:
    fits = Detection(scratch_seen_snr=7.5)
    rate = MarkRate("400 faces", (MarkClass("pit", 0.2, 9.0, 0.01),))
    judged = replace(read_result(written(tmp_path, AGREED)), detection=fits, rate=rate)
    judged = replace(judged, pieces=tuple(replace(piece, detection=fits) for piece in judged.pieces))
    write_result(judged, tmp_path / "again.json")
    again = read_result(tmp_path / "again.json")
    assert again == judged
    assert again.pieces[0].detection.scratch_seen_snr == 7.5


def test_the_settings_that_measured_are_written_and_old_results_have_none(tmp_path: Path) -> None:
    path = tmp_path / "result.json"
    result = TrayResult("s", "T", None, "P", "S", None, 1, (), (), settings=settings_used())
    write_result(result, path)
    assert json.loads(path.read_text())["settings"]["values"]["outline"]["bumps"]["short_mm"] == 6.0
    assert read_result(path) == result
    write_result(replace(result, settings=None), path)
    assert "settings" not in json.loads(path.read_text())
    assert read_result(path).settings is None


def test_measures_that_are_null_altogether_are_none(tmp_path: Path) -> None:
    table = json.loads(json.dumps(AGREED))
    table["pieces"][1] |= {"measures": None, "uncertainties": None}
    assert read_result(written(tmp_path, table)).pieces[1].measures == {}


finite, positive = st.floats(-1e15, 1e15), st.floats(0.0, 1e15)
words = st.text(st.characters(exclude_categories=["C", "Z"]))
value, doubt = (st.none() | kind | st.dictionaries(words, st.none() | kind, max_size=3) for kind in (finite, positive))
pair = st.tuples(finite, finite)
points = st.lists(pair, min_size=2, max_size=4).map(tuple)
findings = (
    st.builds(
        EdgeFinding, st.sampled_from(["burr", "nick", "swell", "hollow"]), words, pair, pair, finite, finite, positive
    )
    | st.builds(BendFinding, words, finite)
    | st.builds(Scratch, points, points, *[positive] * 3)
    | st.builds(Pit, pair, pair, positive, positive)
)
reasons = st.builds(
    Reason,
    words,
    st.none() | words,
    st.none(),
    st.none(),
    *[st.none() | finite] * 2,
    st.sampled_from(["critical", "major", "minor"]),
    st.just("review"),
    st.none() | st.floats(0.0, 1.0),
)


@st.composite
def results(draw: st.DrawFn) -> TrayResult:
    """Any tray with up to three pieces."""
    pieces = []
    for number in range(1, draw(st.integers(1, 4))):
        found = tuple(draw(st.lists(findings, max_size=3)))
        counted = tuple(draw(st.booleans()) and isinstance(one, Scratch | Pit) for one in found)
        values = draw(st.dictionaries(words, value, max_size=3))
        doubts = draw(st.dictionaries(words, doubt, max_size=3))
        pose = draw(st.none() | st.builds(Pose, pair, finite, positive))
        why = tuple(draw(st.lists(reasons, max_size=2)))
        fault = draw(st.none() | words.filter(bool))
        outcomes = [reason.outcome for reason in why]
        verdict = "reject" if "reject" in outcomes else "review" if why or fault else "pass"
        for name in {reason.measure for reason in why}:  # missing, as the reasons have it
            values[name] = doubts[name] = None
        pieces.append(JudgedPiece(number, verdict, why, fault, pose, values, doubts, found, counted))  # type: ignore[arg-type]
    said = tuple(draw(st.lists(st.builds(TrayFinding, st.just("foreign"), st.none() | pair, words), max_size=2)))
    process = draw(st.dictionaries(words, words | finite | st.integers(-(2**53), 2**53), max_size=2))
    lot = draw(st.none() | words.filter(bool))
    taken_at = draw(st.none() | st.datetimes().map(datetime.isoformat))
    return TrayResult("s", "T", lot, "P", "S", taken_at, 1, tuple(pieces), said, process)


@settings(deadline=None)
@given(result=results())
def test_what_is_written_reads_back_equal(tmp_path_factory: pytest.TempPathFactory, result: TrayResult) -> None:
    path = tmp_path_factory.getbasetemp() / "result-again.json"
    write_result(result, path)
    assert read_result(path) == result


@pytest.mark.parametrize("number", [math.nan, math.inf])
def test_a_number_that_is_not_finite_is_never_written(tmp_path: Path, number: float) -> None:
    result = TrayResult("s", "T", None, "P", "S", None, 1, (), (TrayFinding("focus", (number, 0.0), ""),))
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_result(result, tmp_path / "result.json")
    assert list(tmp_path.iterdir()) == []
    assert as_table(result)["tray"] == "T"


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda table: table.update(format=2), ["format 1 expected", "found 2"]),
        (lambda table: table.update(extra=1), ["extra", "unknown key"]),
        (lambda table: table.pop("limits_revision"), ["limits_revision", "missing"]),
        (lambda table: table["pieces"][0].update(verdict="maybe"), ["pieces[1].verdict", "'review'", "'maybe'"]),
        (lambda table: table["pieces"][0].update(piece=0), ["pieces[1].piece", "0"]),
        (lambda table: table["pieces"][0]["findings"][0].update(kind="dent"), ["pieces[1].findings[1]", "burr"]),
        (lambda table: table["pieces"][0]["findings"][3].pop("counted"), ["pieces[1].findings[4]", "missing"]),
        (lambda table: table["pieces"][0]["measures"].update(length_mm="135"), ["pieces[1].measures.length_mm"]),
        (lambda table: table["pieces"][0]["measures"].update(length_mm=math.nan), ["pieces[1].measures.length_mm"]),
        (lambda table: table["tray_findings"][0].update(kind="wet"), ["tray_findings[1].kind", "'touching'"]),
    ],
)
def test_a_wrong_key_is_named(tmp_path: Path, spoil: Any, said: list[str]) -> None:
    table = json.loads(json.dumps(AGREED))
    spoil(table)
    with pytest.raises(Unusable) as caught:
        read_result(written(tmp_path, table))
    one_line(caught.value, "result.json", *said)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.99])
def test_half_a_result_is_told(tmp_path: Path, share: float) -> None:
    text = json.dumps(AGREED)
    (tmp_path / "result.json").write_text(text[: int(share * len(text))])
    with pytest.raises(Unusable) as caught:
        read_result(tmp_path / "result.json")
    one_line(caught.value, "result.json", "a JSON file expected")
