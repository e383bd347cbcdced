"""Limits from the first draft to the revision in force, as people call them; and what judges production."""

import shutil
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

import app.run.shot
from app.store.database.connection import Store
from app.store.lots.lot_list import list_lots
from app.store.lots.revisions import limits_standing, revisions
from app.store.people.actor import Acted
from app.store.results.recall import recall_results
from app.works import limits_in_force
from app.works.folder import Person, Works, new_works
from app.works.limits_in_force import release_file, release_limits
from app.works.roles import who_acts
from tests.run.made import make_files, make_shots, stand_in
from tests.shell import Run
from vision.errors import Unusable
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


def test_an_account_is_who_it_says(works: Works, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("getpass.getuser", lambda: "rhale")
    known = replace(works, people=(replace(PEOPLE[0], account="rhale"), replace(PEOPLE[1], account="mok")))
    assert who_acts(known, None, "release limits", "why") == Acted("R. Hale", "account", "why")
    assert who_acts(works, "R. Hale", "release limits").known == "declared"
    monkeypatch.setattr("getpass.getuser", lambda: "mok")
    with pytest.raises(Unusable, match="from their own account, rhale"):
        who_acts(known, "R. Hale", "release limits")
    with pytest.raises(Unusable, match="the role release, which has: R"):
        who_acts(known, None, "release limits")


def test_one_person_may_hold_every_role(works: Works) -> None:
    alone = replace(works, people=(Person("R. Hale", ("review", "tune", "release"), None),))
    for act in ("review", "begin a blind round", "calibrate", "import", "release limits", "decide on a lot"):
        assert who_acts(alone, "R. Hale", act).by == "R. Hale"  # type: ignore[arg-type]


def test_limits_of_a_store_from_before_stay_in_force(works: Works) -> None:
    """As the migration leaves them: every revision held as released, until somebody releases one."""
    store: Store = works.open()
    limits = read_limits(works.limits_file("TS-135"), read_part(works.part_file("TS-135")))
    older = replace(limits, revision=2)
    with store.write() as connection:
        from app.store.lots.revisions import file_limits

        for one in (older, limits):
            file_limits(connection, one)
        connection.exec_driver_sql(
            "INSERT INTO limits_act (limits_id, given_by, identity, why, given_at)"
            " SELECT id, '', 'before roles', 'released before roles', filed_at FROM limits_revision"
        )
    assert {limits_standing(store, one, True) for one in (older, limits)} == {"released before roles"}
    assert limits_standing(store, replace(limits, coverage=0.9), True) == "not in force"
    release_file(store, works, works.limits_file("TS-135"), Acted("R. Hale", "login", "as before"))
    assert limits_standing(store, limits, True) == "in force"
    assert limits_standing(store, older, True) == "not in force"
    assert [one.in_force for one in revisions(store, "TS-135")] == [False, True]
    store.close()


def test_a_release_whose_file_can_not_be_written_is_taken_back(works: Works, monkeypatch: pytest.MonkeyPatch) -> None:
    part = read_part(works.part_file("TS-135"))
    file = works.limits_file("TS-135")
    limits, before = read_limits(file, part), file.read_bytes()
    draft = replace(limits, revision=limits.revision + 1, status="draft")
    hale = Acted("R. Hale", "login", "steadier")

    def full(*_: object) -> None:
        raise Unusable(file, "", "expected room on the disk")

    with closing(works.open()) as store:
        for name in ("write_limits", "release"):  # the file, and the store once the file is written
            with monkeypatch.context() as broken:
                if name == "write_limits":
                    broken.setattr(limits_in_force, name, full)
                else:
                    broken.setattr(limits_in_force, name, lambda _s, to, _a, _seen, write: (write(to), full()))
                with pytest.raises(Unusable, match="room on the disk"):
                    release_limits(store, works, draft, part, hale)
            assert [one for one in revisions(store, "TS-135") if one.released_at] == []
            assert file.read_bytes() == before
        assert release_limits(store, works, draft, part, hale).in_force
        assert read_limits(file, part) == replace(draft, status="released")


def test_limits_that_changed_since_they_were_shown_are_not_released_over(works: Works) -> None:
    part = read_part(works.part_file("TS-135"))
    limits = read_limits(works.limits_file("TS-135"), part)
    with closing(works.open()) as store:
        first = release_limits(store, works, limits, part, Acted("R. Hale", "login", "as drawn"), [])
        later = replace(limits, revision=limits.revision + 1)
        newest = release_limits(store, works, later, part, Acted("R. Hale", "login", "a complaint"), [first.id])
        again = replace(limits, revision=limits.revision + 2)
        with pytest.raises(Unusable, match=f"since then R. Hale put revision {later.revision} into force: a complaint"):
            release_limits(store, works, again, part, Acted("R. Hale", "login", "steadier"), [first.id])
        assert [one.id for one in revisions(store, "TS-135") if one.in_force] == [newest.id]
        assert read_limits(works.limits_file("TS-135"), part).revision == later.revision
