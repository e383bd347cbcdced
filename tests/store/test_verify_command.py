"""`brightbowl verify` as people call it: files on disk, heads printed, signed and held against."""

import json
import shutil
import subprocess
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from app.report.stamp import stamp_of
from app.store.database.connection import open_store
from app.store.evidence.signature import signed
from app.works.folder import Person, Works, new_works
from app.works.results_on_disk import Filing, file_folders
from tests.formats.made import shot_table, write_shot
from tests.shell import Run
from tests.store.made import made_tray
from tests.store.test_chain import LOT
from vision.formats.result import write_result


@pytest.fixture
def works(tmp_path: Path) -> Works:
    """A works whose one tray lies on disk, shot and result, and is filed."""
    made = new_works(tmp_path / "works", "Aldermoor Flatware Works", (Person("R. Hale", ("release",), None),))
    write_shot(made.shots / "S-1", shot_table(tray="T-1"))
    folder = made.results / "T-1"
    folder.mkdir()
    write_result(made_tray("T-1"), folder / "result.json")
    (folder / "piece-03.svg").write_text("<svg/>")
    with closing(made.open()) as store:
        assert file_folders(store, made, [folder], Filing((made.shots,))).failures == ()
    return made


@pytest.mark.parametrize(
    ("place", "spoil", "named"),
    [
        (
            "results/T-1/result.json",
            lambda file: file.write_text(file.read_text().replace("reject", "pass")),
            "changed",
        ),
        ("results/T-1/piece-03.svg", lambda file: file.write_text("<svg></svg>"), "changed"),
        ("results/T-1/result.json", Path.unlink, "gone"),
        ("shots/S-1/back.png", lambda file: file.write_bytes(file.read_bytes() + b"x"), "changed"),
        ("shots/S-1/shot.json", lambda file: file.write_text(file.read_text().replace("T-1", "T-2")), "changed"),
    ],
    ids=["result edited", "picture exchanged", "result deleted", "frame exchanged", "shot renamed"],
)
def test_a_file_changed_is_found_and_named(
    works: Works, run: Run, place: str, spoil: Callable[[Path], object], named: str
) -> None:
    code, said, _ = run("verify", "--works", works.folder)
    assert (code, "files hold; head " in said) == (0, True)
    spoil(works.folder / place)
    code, _, errors = run("verify", "--works", works.folder)
    assert (code, f"{place} " in errors, named in errors) == (1, True, True)
    assert run("verify", "--works", works.folder, "--no-files")[0] == 0


def test_a_head_is_printed_signed_and_held_against(works: Works, run: Run, tmp_path: Path) -> None:
    key, public, other = tmp_path / "key.pem", tmp_path / "public.pem", tmp_path / "other.pem"
    for file in (key, other):
        subprocess.run(["openssl", "genpkey", "-algorithm", "ed25519", "-out", file], check=True, capture_output=True)
    subprocess.run(["openssl", "pkey", "-in", key, "-pubout", "-out", public], check=True, capture_output=True)
    head = tmp_path / "head.json"
    assert run("verify", "--works", works.folder, "--sign", key, "--out", head)[0] == 0
    assert run("verify", "--works", works.folder, "--head", head, "--public", public)[0] == 0
    words = json.loads(head.read_text())["head"]
    assert run("verify", "--works", works.folder, "--head", words)[0] == 0
    code, _, errors = run("verify", "--works", works.folder, "--head", words[:-1] + ("0" if words[-1] != "0" else "1"))
    assert (code, "written anew" in errors) == (1, True)
    forged = {"format": 1, "head": words, "signature": signed(words, other)}
    head.write_text(json.dumps(forged))
    code, _, errors = run("verify", "--works", works.folder, "--head", head, "--public", public)
    assert (code, "the signature does not hold" in errors) == (2, True)
    inside = Path(shutil.copy(key, works.folder / "key.pem"))
    code, _, errors = run("verify", "--works", works.folder, "--sign", inside)
    assert (code, "a key outside the works folder" in errors) == (2, True)


def test_a_lot_s_report_prints_the_head(
    works: Works, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = tmp_path / "key.pem"
    subprocess.run(["openssl", "genpkey", "-algorithm", "ed25519", "-out", key], check=True, capture_output=True)
    monkeypatch.setenv("BRIGHTBOWL_SIGNING_KEY", str(key))
    assert run("lot", LOT, "--works", works.folder, "--out", tmp_path / "out")[0] == 0
    table = json.loads((tmp_path / "out" / "lot.json").read_text())
    page = (tmp_path / "out" / "lot.html").read_text()
    assert table["head"] in page
    assert table["head_signature"] == signed(table["head"], key)
    assert run("verify", "--works", works.folder, "--head", table["head"])[0] == 0


def test_a_report_made_of_files_bears_the_head_of_the_works_that_is_named(
    works: Works, run: Run, tmp_path: Path
) -> None:
    table = tmp_path / "gauge.csv"
    rows = [f"{part},A,{trial},{part + 0.1 * trial}" for part in (1, 2, 3) for trial in (1, 2)]
    table.write_text("\n".join(["part,operator,trial,value", *rows]) + "\n")
    assert run("gauge", table, "--out", tmp_path / "out", "--works", works.folder)[0] == 0
    with closing(works.open()) as store:
        assert stamp_of(store, works.folder).head in (tmp_path / "out" / "gauge.html").read_text()


def test_a_store_alone_is_walked_with_its_files(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "results" / "T-1"
    folder.mkdir(parents=True)
    write_result(made_tray("T-1"), folder / "result.json")
    place = tmp_path / "store.sqlite"
    with closing(open_store(place)) as store:
        assert file_folders(store, None, [folder], Filing(())).failures == ()
    code, said, _ = run("verify", "--store", place)
    assert (code, ", 1 files hold; head " in said) == (0, True)
    (folder / "result.json").write_text("{}")
    code, _, errors = run("verify", "--store", place)
    assert (code, f"{folder / 'result.json'} was changed" in errors) == (1, True)
    assert run("verify")[0] == 2
    assert run("verify", "--store", tmp_path / "none.sqlite")[0] == 2
