"""`new`, `import` and `export`: results and verdicts into a store and out again."""

import csv
import dataclasses
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from app.cli.export import command as export
from app.cli.import_results import command as import_results
from app.cli.new import command as new
from app.cli.serve import command as serve
from app.store.people.verdicts import standing
from app.store.results.recall import recall_results
from app.store.results.shown import newest_judgement, profile_of, shown
from app.works.folder import read_works
from tests.store.made import made_piece, made_tray
from vision.errors import Unusable
from vision.formats.profiles import read_profiles, write_profiles
from vision.formats.result import read_result, write_result
from vision.records.measured import DeviationProfile


def run(command: object, *arguments: object) -> Result:
    """Run a command; an `Unusable` comes through."""
    return CliRunner().invoke(command, [str(one) for one in arguments], catch_exceptions=False)  # type: ignore[arg-type]


def profile() -> DeviationProfile:
    """A finely sampled profile with one sharp peak."""
    s_mm = np.arange(0.0, 300.0, 0.025)
    deviation = np.zeros(len(s_mm))
    deviation[4444] = 0.31
    return DeviationProfile(s_mm, np.column_stack([s_mm, s_mm]), np.column_stack([s_mm, s_mm]), deviation)


@pytest.fixture
def works(tmp_path: Path) -> Path:
    """A works folder with two shots and their results, nothing filed yet."""
    folder = tmp_path / "works"
    assert run(new, folder, "--name", "Aldermoor Flatware Works").exit_code == 0
    for tray in ("T-000001", "T-000002"):
        into = folder / "results" / tray
        into.mkdir()
        write_result(made_tray(tray), into / "result.json")
        write_profiles(into / "profiles.npz", {3: profile()})
        (into / "tray.jpg").write_bytes(b"x")
        (into / "piece-03.svg").write_bytes(b"x")
        shot = folder / "shots" / tray
        shot.mkdir()
        for name in ("back.png", "low-090.png"):
            (shot / name).write_bytes(b"x")
    return folder


def test_results_go_in_once_with_what_lies_around_them(works: Path) -> None:
    first = run(import_results, works / "results", "--works", works)
    assert (first.exit_code, "2 trays" in first.output, "6 new judgements, 0 were" in first.output) == (0, True, True)
    again = run(import_results, works / "results", "--works", works)
    assert "0 new judgements, 6 were there before" in again.output
    store = read_works(works).open()
    trays = ("T-000001", "T-000002")
    assert list(recall_results(store)) == [read_result(works / "results" / tray / "result.json") for tray in trays]
    judgement = newest_judgement(store, "T-000002", 3)
    assert judgement is not None
    kept = profile_of(store, judgement)
    assert kept is not None
    assert kept.deviation_mm.max() == 0.31
    pictures = {
        (one.path, one.kind, one.light, one.azimuth_deg, one.piece)
        for one in shown(store, [judgement])[judgement].pictures
    }
    assert pictures == {
        ("shots/T-000002/back.png", "frame", "back", None, None),
        ("shots/T-000002/low-090.png", "frame", "low", 90.0, None),
        ("results/T-000002/tray.jpg", "tray", None, None, None),
        ("results/T-000002/piece-03.svg", "piece", None, None, 3),
    }
    store.close()


def test_a_wrong_result_is_named_and_the_others_are_filed(works: Path) -> None:
    (works / "results" / "T-000001" / "result.json").write_text("{")
    (works / "results" / "T-000002" / "profiles.npz").write_bytes(b"PK")
    write_result(made_tray("T-000003"), _made(works / "results" / "T-000003") / "result.json")
    done = run(import_results, works / "results", "--works", works)
    assert done.exit_code == 1
    assert "1 trays" in done.output
    assert "T-000001/result.json" in done.output
    assert "T-000002/profiles.npz: profiles as" in done.output


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


def test_verdicts_go_out_and_into_another_store(works: Path, tmp_path: Path) -> None:
    run(import_results, works / "results", "--works", works)
    table = tmp_path / "said.csv"
    table.write_text(
        "tray,piece,inspector,round,verdict,defects,note,given_at\n"
        'T-000001,3,R. Hale,1,reject,burr;nick,"tip, ""outer""",2026-11-02T06:00:00+00:00\n'
        "T-000001,3,R. Hale,2,accept,,,2026-11-02T07:00:00+00:00\n"
        "T-000002,2,M. Okafor,1,accept,,,2026-11-02T08:00:00+00:00\n"
        "T-000009,2,M. Okafor,1,accept,,,\n"
        "T-000009,2,M. Okafor,2,accept,,,\n"
    )
    done = run(import_results, works / "results", "--works", works, "--verdicts", table)
    assert done.exit_code == 1
    assert "3 new verdicts" in done.output
    assert "0 were there before, 2 could not be filed" in done.output
    assert "line 5, 6: no tray T-000009" in done.output
    out = tmp_path / "out"
    said = run(export, "--works", works, "--out", out, "--parquet").output
    assert ("3 verdicts" in said, "0 labels of findings" in said) == (True, True)
    assert sorted(path.name for path in out.glob("labels.*")) == ["labels.csv", "labels.parquet"]
    assert (out / "verdicts.csv").read_text().splitlines() == table.read_text().splitlines()[:4]
    back = run(import_results, works / "results", "--works", works, "--verdicts", out / "verdicts.csv")
    assert (back.exit_code, "0 new verdicts" in back.output) == (0, True)
    store = read_works(works).open()
    assert [(one.round, one.identity) for one in standing(store, "R. Hale")] == [(1, "imported"), (2, "imported")]
    store.close()


def test_pieces_go_out_as_judged_last(works: Path, tmp_path: Path) -> None:
    import pyarrow.parquet

    run(import_results, works / "results", "--works", works)
    later = "9999-01-01T00:00:00+00:00"  # judged after the other was filed
    changed = dataclasses.replace(made_tray("T-000002", [made_piece(3, "reject", 0.44)]), judged_at=later)
    write_result(changed, works / "results" / "T-000002" / "result.json")
    run(import_results, works / "results" / "T-000002", "--works", works)
    run(export, "--works", works, "--out", tmp_path / "out", "--parquet")
    rows = list(csv.DictReader((tmp_path / "out" / "pieces.csv").read_text().splitlines()))
    assert [row["outline_out_mm.bowl"] for row in rows] == ["0.31"] * 3 + ["0.44"]
    assert [row["verdict"] for row in rows] == ["pass", "review", "reject", "reject"]
    table = pyarrow.parquet.read_table(tmp_path / "out" / "pieces.parquet")
    assert table.column("outline_out_mm.bowl").to_pylist() == [0.31] * 3 + [0.44]
    with pytest.raises(Unusable, match="--lot: a lot of the store expected"):
        run(export, "--works", works, "--out", tmp_path / "out", "--lot", "none")


def test_calls_that_can_not_be_met(works: Path, tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="--works WORKS or --store URL"):
        run(export, "--out", tmp_path / "out")
    with pytest.raises(Unusable, match="--works WORKS or --store URL"):
        run(serve)
    with pytest.raises(Unusable, match="no such file"):
        run(import_results, works / "results", "--store", tmp_path / "none.sqlite")
    with pytest.raises(Unusable, match=r"no result\.json"):
        run(import_results, works / "shots", "--works", works)
    with pytest.raises(Unusable, match="new or empty"):
        run(new, works)
    assert run(import_results, tmp_path / "none", "--works", works).exit_code == 2


def test_profiles_that_are_something_else(tmp_path: Path) -> None:
    assert read_profiles(tmp_path / "none.npz") == {}
    write_profiles(tmp_path / "good.npz", {7: profile(), 8: dataclasses.replace(profile())})
    assert set(read_profiles(tmp_path / "good.npz")) == {7, 8}
    np.savez(tmp_path / "flat.npz", piece_1=np.zeros(3))
    with pytest.raises(Unusable, match="two rows"):
        read_profiles(tmp_path / "flat.npz")
    for content in (b"", b"text", (tmp_path / "good.npz").read_bytes()[:50]):
        (tmp_path / "bad.npz").write_bytes(content)
        with pytest.raises(Unusable, match="inspect again"):
            read_profiles(tmp_path / "bad.npz")
