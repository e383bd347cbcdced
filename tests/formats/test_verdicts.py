"""verdicts.csv as people and their spreadsheets write it."""

from pathlib import Path

import pytest

from tests.formats.made import one_line
from vision.errors import Unusable
from vision.formats.verdicts import PersonsVerdict, read_verdicts

HEADER = "tray,piece,inspector,round,verdict,defects,note,given_at"
ROWS = [
    'T-1,1,Ada,1,reject,burr;nick,"seen twice, clearly",2026-11-02T08:00:00+00:00',
    "T-1,2,Ada,1,accept,,,",
    "T-1,1,Ada,2,accept,,,",
    "T-1,1,Bo,1,reject,scratch,,",
]


def written(folder: Path, *lines: str, ending: str = "\n") -> Path:
    path = folder / "verdicts.csv"
    path.write_bytes(ending.join(lines).encode())
    return path


def refused(path: Path, *said: str) -> None:
    with pytest.raises(Unusable) as caught:
        read_verdicts(path)
    one_line(caught.value, "verdicts.csv", *said)


def test_verdicts_are_read_in_order(tmp_path: Path) -> None:
    first, second, *others = read_verdicts(written(tmp_path, HEADER, *ROWS))
    assert first == PersonsVerdict(
        tray="T-1",
        piece=1,
        inspector="Ada",
        round=1,
        verdict="reject",
        defects=("burr", "nick"),
        note="seen twice, clearly",
        given_at="2026-11-02T08:00:00+00:00",
        line=2,
    )
    assert (second.verdict, second.defects, second.note, second.given_at, second.line) == ("accept", (), "", None, 3)
    assert [(one.inspector, one.round) for one in others] == [("Ada", 2), ("Bo", 1)]


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "﻿"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_a_spreadsheet_may_have_saved_it(tmp_path: Path, ending: str, mark: str, delimiter: str) -> None:
    row = ["T-1", "1,0", "Ada", "2.0", "reject", "burr; nick", "a, b\nc", ""]
    cells = [f'"{cell}"' for cell in row]
    path = written(tmp_path, mark + HEADER.replace(",", delimiter), delimiter.join(cells), "", ending=ending)
    (one,) = read_verdicts(path)
    assert (one.piece, one.round, one.defects, one.note) == (1, 2, ("burr", "nick"), "a, b\nc")


def test_columns_may_stand_in_any_order_and_lines_be_empty(tmp_path: Path) -> None:
    path = written(
        tmp_path, "piece,tray,round,inspector,given_at,note,defects,verdict", "", "1,T-1,1,Ada,,,,accept", ",,,,,,,"
    )
    (one,) = read_verdicts(path)
    assert (one.tray, one.piece, one.line) == ("T-1", 1, 3)


def test_a_second_verdict_names_both_lines(tmp_path: Path) -> None:
    refused(written(tmp_path, HEADER, *ROWS, ROWS[0]), "lines 2 and 6", "Ada on tray T-1, piece 1, round 1")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("T-1,1,Ada,1,good,,,", ["line 2, verdict", "accept or reject", "'good'"]),
        ("T-1,1,Ada,1,,,,", ["line 2, verdict", "accept or reject"]),
        ("T-1,0,Ada,1,accept,,,", ["line 2, piece", "whole number from 1", "'0'"]),
        ("T-1,-1,Ada,1,accept,,,", ["line 2, piece"]),
        ("T-1,1.5,Ada,1,accept,,,", ["line 2, piece", "'1.5'"]),
        ("T-1,one,Ada,1,accept,,,", ["line 2, piece", "'one'"]),
        ("T-1,²,Ada,1,accept,,,", ["line 2, piece"]),
        ("T-1,1,Ada,nan,accept,,,", ["line 2, round", "'nan'"]),
        (",1,Ada,1,accept,,,", ["line 2, tray", "a name"]),
        ("T-1,1,,1,accept,,,", ["line 2, inspector", "a name"]),
        ("T-1,1,Ada,1,accept,,,noon", ["line 2, given_at", "ISO 8601", "'noon'"]),
        ("T-1,1,Ada,1,accept,,", ["line 2", "8 cells", "7"]),
        ("T-1,1,Ada,1,accept,burr,scratch,,", ["line 2", "8 cells", "9"]),
        ('T-1,1,Ada,1,accept,,"never closed,', ["line 2"]),
    ],
)
def test_a_wrong_line_is_named(tmp_path: Path, row: str, said: list[str]) -> None:
    refused(written(tmp_path, HEADER, row), *said)


@pytest.mark.parametrize(
    "header",
    ["", HEADER.replace(",round", ""), HEADER + ",shift", HEADER.replace("note", "round"), "T-1,1,Ada,1,accept,,,"],
)
def test_a_wrong_heading_is_told(tmp_path: Path, header: str) -> None:
    refused(written(tmp_path, header, ROWS[0]), "line 1", "tray,piece,inspector")


def test_another_encoding_is_told(tmp_path: Path) -> None:
    path = tmp_path / "verdicts.csv"
    path.write_bytes(f"{HEADER}\nT-1,1,J\xfcrgen,1,accept,,,\n".encode("latin-1"))
    refused(path, "UTF-8")
