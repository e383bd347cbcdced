"""Limits from the first draft to the revision in force, as people call them; and what judges production."""

import shutil
from pathlib import Path

import pytest

import app.run.shot
from app.store.lots.lot_list import list_lots
from app.store.results.recall import recall_results
from app.works.folder import Person, Works, new_works
from tests.run.made import make_files, make_shots, stand_in
from tests.shell import Run
from vision.formats.limits import read_limits
from vision.formats.part import read_part
from vision.formats.result import read_result

PEOPLE = (Person("R. Hale", ("review", "tune", "release"), None), Person("M. Okafor", ("review",), None))


@pytest.fixture(autouse=True)
def no_measuring(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app.run.shot, "measure_tray", stand_in)


def made(folder: Path, people: tuple[Person, ...]) -> Works:
    """A works with a part, a station, limits that say released, and a shot; nothing in its store."""
    works = new_works(folder / "works", "Aldermoor Flatware Works", people)
    make_files(folder)
    part = works.part_file("TS-135")
    part.parent.mkdir()
    for name in ("part.toml", "outline.csv"):
        shutil.move(folder / name, part.with_name(name))
    shutil.move(folder / "station.toml", works.station_file("ST-1"))
    shutil.move(folder / "limits.toml", works.limits_file("TS-135"))
    make_shots(works.shots, "T-1")
    return works


@pytest.fixture
def works(tmp_path: Path) -> Works:
    return made(tmp_path, PEOPLE)


def edit(file: Path, old: str, new: str) -> Path:
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))
    return file


def inspect(run: Run, works: Works, *more: object) -> tuple[int, str, str]:
    return run("inspect", "--works", works.folder, "--no-pictures", *more)


def release(run: Run, works: Works, file: Path, *more: object) -> tuple[int, str, str]:
    who = more or ("--by", "R. Hale")
    return run("limits", "release", file, "--works", works.folder, "--why", "agreed", *who)


def test_released_by_hand_judges_nothing(run: Run, works: Works) -> None:
    code, _, errors = inspect(run, works)
    assert (code, "released" in works.limits_file("TS-135").read_text()) == (2, True)
    assert "limits/TS-135.toml: revision 3: the limits in force (none yet)" in errors
    assert "found not in force" in errors
    assert not list(works.results.rglob("result.json"))


def test_a_release_by_name_judges_and_stands_on_the_result(run: Run, works: Works) -> None:
    code, said, _ = release(run, works, works.limits_file("TS-135"))
    assert (code, "revision 3 is in force, released by R. Hale (declared)" in said) == (0, True)
    code, said, _ = inspect(run, works)
    assert (code, "Judged by" in said) == (0, False)
    (file,) = works.results.rglob("shot-*/result.json")
    assert read_result(file).limits_standing == "in force"


@pytest.mark.parametrize("change", [('"released"', '"draft"'), ("max = 0.15", "max = 0.16")], ids=["draft", "changed"])
def test_a_draft_or_a_changed_file_judges_on_trial_alone(run: Run, works: Works, change: tuple[str, str]) -> None:
    file = works.limits_file("TS-135")
    release(run, works, file)
    edit(file, *change)
    code, _, errors = inspect(run, works)
    assert (code, "(now revision 3)" in errors, "or judge --trial" in errors) == (2, True, True)
    code, said, _ = inspect(run, works, "--trial")
    assert (code, "a trial, nothing to pack by" in said) == (0, True)
    (result,) = works.trials.rglob("shot-*/result.json")
    assert read_result(result).limits_standing in ("draft", "not in force")
    assert not list(works.results.rglob("result.json"))
    store = works.open()
    assert (list_lots(store), list(recall_results(store))) == ((), [])
    store.close()


def test_pages_of_a_trial_say_so(run: Run, works: Works) -> None:
    edit(works.limits_file("TS-135"), '"released"', '"draft"')
    code, _, errors = run("inspect", "--works", works.folder, "--trial")
    assert (code, errors) == (0, "")
    pages = sorted(works.trials.rglob("*.html"))
    # The shot's own page, the tray's that shows it, and the run's.
    assert sorted(page.name for page in pages) == ["index.html", "result.html", "result.html"]
    for page in pages:
        assert "Judged by a draft of the limits" in page.read_text()


def test_without_works_or_store_a_draft_judges_and_says_so(run: Run, works: Works, tmp_path: Path) -> None:
    file = edit(works.limits_file("TS-135"), '"released"', '"draft"')
    files = ("--part", works.part_file("TS-135"), "--station", works.station_file("ST-1"), "--limits", file)
    code, said, _ = run("inspect", works.shots, *files, "--out", tmp_path / "out", "--no-pictures")
    assert (code, "Judged by a draft of the limits" in said) == (0, True)
    store = ("--store", works.folder / "store.sqlite")
    code, _, errors = run("inspect", works.shots, *files, "--out", tmp_path / "out", "--no-pictures", *store)
    assert (code, "found draft" in errors) == (2, True)


def test_a_works_without_people_judges_as_before_until_its_first_release(run: Run, tmp_path: Path) -> None:
    works = made(tmp_path, ())
    code, said, _ = inspect(run, works)
    assert (code, "though nobody put them into force by name" in said) == (0, True)
    code, _, errors = release(run, works, works.limits_file("TS-135"))
    assert (code, "nobody is listed in works.toml; list R. Hale there with the role release first" in errors) == (
        2,
        True,
    )
    with (works.folder / "works.toml").open("a") as listed:
        listed.write('\n[[person]]\nname = "R. Hale"\nroles = ["release"]\n')
    assert inspect(run, works)[0] == 2
    assert release(run, works, works.limits_file("TS-135"))[0] == 0
    assert inspect(run, works)[0] == 0


@pytest.mark.parametrize(
    ("who", "said"),
    [
        (("--by", "M. Okafor"), "the role release, which has: R. Hale"),
        (("--by", "A. N. Other"), "--by NAME, one of R. Hale"),
        (("--by", ""), "--by NAME, one of R. Hale"),
        (("--by", "R. Hale", "--why", " "), "a name and a reason"),
    ],
)
def test_who_may_not_release_does_not(run: Run, works: Works, who: tuple[str, ...], said: str) -> None:
    code, _, errors = release(run, works, works.limits_file("TS-135"), *who)
    assert (code, said in errors) == (2, True)
    assert inspect(run, works)[0] == 2


def test_going_back_and_forth_is_kept_act_by_act(run: Run, works: Works) -> None:
    file = works.limits_file("TS-135")
    release(run, works, file)
    wider = edit(shutil.copy(file, works.folder / "next.toml"), "revision = 3", "revision = 4")
    edit(wider, "max = 0.15", "max = 0.18")
    assert release(run, works, wider)[0] == 0
    assert "max = 0.18" in file.read_text()
    back = ("limits", "back", "3", "--of", "TS-135", "--works", works.folder, "--by", "R. Hale", "--why", "scrap came")
    assert run(*back)[0] == 0
    assert "max = 0.15" in file.read_text()
    assert inspect(run, works)[0] == 0
    code, _, errors = run(*back)
    assert (code, "not in force already" in errors) == (2, True)
    said = run("limits", "list", "--of", "TS-135", "--works", works.folder)[1].splitlines()
    assert said[0].startswith("revision 3: in force, released by R. Hale (declared) at ")
    assert said[0].endswith(": scrap came")
    assert "in force" not in said[1]


def test_an_unusable_draft_is_not_released(run: Run, works: Works) -> None:
    file = edit(works.limits_file("TS-135"), "max = 0.15", "max = -0.15")
    code, _, errors = release(run, works, file)
    assert (code, "its values lie from 0 to any size" in errors) == (2, True)
    code, _, errors = run("limits", "check", file, "--works", works.folder)
    assert (code, "limit[1] outline_out_mm.bowl" in errors) == (1, True)


def test_a_number_below_one_released_is_refused(run: Run, works: Works) -> None:
    file = works.limits_file("TS-135")
    release(run, works, file)
    older = edit(shutil.copy(file, works.folder / "old.toml"), "revision = 3", "revision = 2")
    code, _, errors = release(run, works, older)
    assert (code, "a revision above 3" in errors, "brightbowl limits back" in errors) == (2, True, True)


def test_a_first_draft_by_a_general_class_checks_and_judges(run: Run, works: Works, tmp_path: Path) -> None:
    part, station = works.part_file("TS-135"), works.station_file("ST-1")
    draft = tmp_path / "draft.toml"
    made_by = ("limits", "draft", "--part", part, "--station", station, "--out", draft)
    code, said, errors = run(*made_by, "--general", "m", "--tolerance", "scratch_longest_mm=2")
    assert (code, errors) == (0, "")
    assert "ISO 2768-1:1989, values from memory" in said
    assert "outline_unseen_mm.bowl" in said.split("without a limit: ")[1].splitlines()[0]
    assert "scratch_count, scratch_density" in said
    limits = read_limits(draft, read_part(part))
    assert {one.measure: (one.min, one.max) for one in limits.limits}["length_mm"] == (134.5, 135.5)
    assert {(one.measure, one.max) for one in limits.limits} >= {("scratch_longest_mm", 2.0)}
    code, said, _ = run("limits", "check", draft, "--part", part, "--station", station)
    assert (code, "nothing wrong" in said) == (0, True)
    code, _, errors = run(*made_by, "--general", "m")
    assert (code, "a new file" in errors) == (2, True)


@pytest.mark.parametrize(
    ("tolerance", "said"),
    [("hole_offset_mm=1", "one of outline_out_mm"), ("length_mm=x", "a number"), ("length_mm=-1", "0 or more")],
)
def test_a_wrong_tolerance_is_named(run: Run, works: Works, tmp_path: Path, tolerance: str, said: str) -> None:
    made_by = ("--part", works.part_file("TS-135"), "--out", tmp_path / "draft.toml")
    code, _, errors = run("limits", "draft", *made_by, "--general", "m", "--tolerance", tolerance)
    assert (code, said in errors) == (2, True)


def test_two_sets_are_compared(run: Run, works: Works) -> None:
    file = works.limits_file("TS-135")
    release(run, works, file)
    other = edit(shutil.copy(file, works.folder / "next.toml"), "max = 0.15", "max = 0.18")
    code, said, _ = run("limits", "compare", "3", other, "--of", "TS-135", "--works", works.folder)
    assert (code, said.strip()) == (0, "outline_out_mm.bowl max: 0.15 -> 0.18 (wider)")
    assert run("limits", "compare", file, file, "--works", works.folder)[1].strip() == "nothing differs"
    assert run("limits", "compare", "3", "9", "--of", "TS-135", "--works", works.folder)[0] == 2
