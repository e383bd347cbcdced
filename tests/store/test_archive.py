"""A sealed lot in Parquet: read without the program, held by the chain, judged again from the file alone."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pandas
import pytest

from app.cli.main import main
from app.store.database.connection import Store, open_store
from app.store.evidence.verify import verify
from app.store.lots.archive import archive_lot, read_archive
from app.store.lots.state import lot_state
from app.store.people.actor import Acted
from app.store.results.filing import file_result
from app.store.results.recall import recall_results
from app.studies import columns_of, rejudge_all
from app.works.folder import Person, new_works
from tests.run.made import make_files
from tests.store.made import LIMITS, decide, lost_piece, made_piece, made_tray, to_file
from vision.errors import Unusable
from vision.formats.limits import write_limits
from vision.formats.result import result_as_json, result_from_json
from vision.records.inputs import Limit

LOT = "L-2611/07"
HALE = Acted("R. Hale", "declared", "checked")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """A released lot of two trays, one piece of which could not be measured."""
    store = open_store(tmp_path / "store.sqlite")
    file_result(store, to_file(made_tray("T-1", lot=LOT)))
    file_result(store, to_file(made_tray("T-2", [made_piece(1, "pass", 0.1), lost_piece(2)], LOT)))
    decide(store, lot_state(store, LOT).decision("release", HALE))
    return store


def archived(store: Store, tmp_path: Path) -> Path:
    file = tmp_path / "archive" / "lot.parquet"
    assert archive_lot(store, lot_state(store, LOT), file, "archive/lot.parquet") == 5
    return file


def test_pandas_reads_it_in_one_line(store: Store, tmp_path: Path) -> None:
    table = pandas.read_parquet(archived(store, tmp_path))
    assert table.groupby("verdict").size().to_dict() == {"pass": 2, "review": 2, "reject": 1}
    assert list(table.loc[table["tray"] == "T-2", "outline_out_mm.bowl"].dropna()) == [0.1]
    assert list(table["fate"]) == ["passed", "waiting", "sorted out", "passed", "waiting"]
    assert table["u_length_mm"].dropna().unique().tolist() == [0.03]


def test_it_holds_what_the_store_holds(store: Store, tmp_path: Path) -> None:
    as_written = [result_from_json(result_as_json(one), tmp_path) for one in recall_results(store)]
    assert list(read_archive(archived(store, tmp_path)).trays) == as_written


def test_it_is_judged_again_as_the_store_would_be(store: Store, tmp_path: Path) -> None:
    wider = replace(LIMITS, revision=4, limits=(Limit("outline_out_mm", "major", max=0.5),))
    from_file = columns_of(read_archive(archived(store, tmp_path)).pieces())
    assert rejudge_all(from_file, LIMITS).tolist() == [2, 2, 2, 1, 1]
    assert rejudge_all(from_file, wider).tolist() == [0, 0, 0, 0, 1]


def test_the_chain_holds_its_digest(store: Store, tmp_path: Path) -> None:
    file = archived(store, tmp_path)
    assert verify(store, tmp_path).broken == ()
    file.write_bytes(file.read_bytes() + b" ")
    assert [one.what for one in verify(store, tmp_path).broken] == [f"file {file} was changed"]


def test_only_a_sealed_lot_is_archived(store: Store, tmp_path: Path) -> None:
    file_result(store, to_file(made_tray("T-3", lot=LOT)))
    with pytest.raises(Unusable, match="released, then more trays came"):
        archived(store, tmp_path)


def test_what_is_no_archive_is_refused_in_one_line(store: Store, tmp_path: Path) -> None:
    file = archived(store, tmp_path)
    pandas.read_parquet(file)[["tray"]].to_parquet(tmp_path / "bare.parquet")
    with pytest.raises(Unusable, match="of format 1"):
        read_archive(tmp_path / "bare.parquet")
    (tmp_path / "words.parquet").write_text("no table")
    with pytest.raises(Unusable, match="archived by"):
        read_archive(tmp_path / "words.parquet")


def test_the_commands_archive_and_judge_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    works = new_works(tmp_path / "works", "Aldermoor Flatware Works", (Person("R. Hale", ("release",), None),))
    make_files(works.folder)
    works.part_file("TS-135").parent.mkdir()
    for name in ("part.toml", "outline.csv"):
        (works.folder / name).rename(works.part_file("TS-135").with_name(name))
    with closing(works.open()) as store:
        file_result(store, to_file(made_tray("T-1", lot=LOT)))

    def told(*words: str | Path) -> str:
        monkeypatch.setattr("sys.argv", ["brightbowl", *map(str, words), "--works", str(works.folder)])
        with pytest.raises(SystemExit) as left:
            main()
        said = capsys.readouterr()
        assert not left.value.code, said.err
        return said.out

    told("lot", LOT, "--release", "--by", "R. Hale", "--why", "checked", "--leave-waiting")
    file = works.folder / "archive" / "L-2611%2F07.TS-135.parquet"
    assert f"3 pieces archived: {file}" in told("lot", LOT, "--archive")
    assert "1 files hold" in told("verify")
    now, wider = works.folder / "limits.toml", works.folder / "wider.toml"
    write_limits(replace(LIMITS, limits=LIMITS.limits[:1]), now)
    write_limits(replace(LIMITS, limits=(Limit("outline_out_mm", "major", max=0.5),)), wider)
    said = told("limits", "compare", now, wider, "--on", file)
    assert "tray T-1, piece 3: reject -> pass" in said
