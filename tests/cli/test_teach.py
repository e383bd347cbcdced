"""A works' own judge of marks: taught by labels, released by a person, named in results, taken back."""

import json
import shutil
from contextlib import closing
from dataclasses import replace
from itertools import count
from pathlib import Path

import pytest

import app.run.shot
from app.run.labelled import labelled_marks
from app.store.people.labels import NewLabel, give_label, labels
from app.store.people.questions import questions
from app.store.results.recall import judged_pieces
from app.store.results.shown import newest_judgement
from app.works.folder import Works, new_works, read_works
from synthetic_images.spoons import TEASPOON
from synthetic_images.trays.shots import Order, render_shots
from tests.cli.test_limits import PEOPLE, made, release
from tests.run.made import stand_in
from tests.shell import Run
from vision.formats import read_judge, read_result, shipped_judge, write_judge

PART = "TS-135"


@pytest.fixture
def works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run) -> Works:
    monkeypatch.setattr(app.run.shot, "measure_tray", stand_in)
    place = made(tmp_path, PEOPLE)
    release(run, place, place.limits_file(PART))
    return place


def draft(works: Works, revision: int = 2) -> Path:
    write_judge(replace(shipped_judge(), status="draft", revision=revision), works.judge_draft(PART))
    return works.judge_draft(PART)


def teach(run: Run, works: Works, *more: object) -> tuple[int, str, str]:
    return run("teach", "--works", works.folder, "--part", PART, *more)


def judged_by(run: Run, works: Works) -> tuple[int, str]:
    """The judge that the next inspection's result names."""
    code, _, errors = run("inspect", "--works", works.folder, "--no-pictures")
    assert code == 0, errors
    (file,) = works.results.rglob("shot-*/result.json")
    used = read_result(file).judge
    assert used is not None
    return used.revision, used.digest


def test_a_draft_judges_only_once_it_is_released(run: Run, works: Works) -> None:
    shipped = (shipped_judge().revision, shipped_judge().digest)
    draft(works)
    assert judged_by(run, works) == shipped
    code, said, _ = teach(run, works, "--release", "--by", "R. Hale", "--why", "fewer rims of drops")
    assert (code, "revision 2 of the works' own judge of marks is in force, by R. Hale" in said) == (0, True)
    own = read_judge(works.judge_file(PART))
    assert own.release is not None
    assert (own.status, own.release.by, own.release.why) == ("released", "R. Hale", "fewer rims of drops")
    assert not works.judge_draft(PART).exists()
    assert judged_by(run, works) == (2, own.digest)
    code, said, _ = teach(run, works, "--withdraw", "--by", "R. Hale", "--why", "lost a scratch")
    assert (code, "comes with the program judges again" in said) == (0, True)
    assert judged_by(run, works) == shipped
    assert read_judge(works.judge_file(PART).with_name(f"{PART}.revision-2.toml")) == own


def test_the_one_before_stays_when_another_is_released(run: Run, works: Works) -> None:
    for revision in (2, 3):
        draft(works, revision)
        assert teach(run, works, "--release", "--by", "R. Hale", "--why", "better")[0] == 0
    names = sorted(one.name for one in works.judge_file(PART).parent.iterdir())
    assert names == [f"{PART}.revision-2.toml", f"{PART}.toml"]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--release", "--by", "M. Okafor", "--why", "x"), "the role release"),
        (("--release", "--by", "R. Hale"), "Missing '--why'"),
        (("--withdraw", "--by", "R. Hale", "--why", "x"), "a judge of the works' own expected"),
    ],
)
def test_what_can_not_be_done_is_said_in_a_line(run: Run, works: Works, more: tuple[str, ...], words: str) -> None:
    draft(works)
    code, _, errors = teach(run, works, *more)
    assert code != 0
    assert words in errors
    assert works.judge_draft(PART).exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("lines", "fewer marks would be found"),
        ("spots", "fewer marks would be found"),
        ("feature", "features that this version reads"),
    ],
)
def test_a_draft_that_was_edited_so_that_all_passes_is_not_released(
    run: Run, works: Works, change: str, words: str
) -> None:
    shipped = (shipped_judge().revision, shipped_judge().digest)
    judge = replace(shipped_judge(), status="draft", revision=2)
    if change != "feature":
        judge = replace(judge, **{change: replace(getattr(judge, change), base=-50.0)})
    write_judge(judge, works.judge_draft(PART))
    if change == "feature":
        text = works.judge_draft(PART).read_text()
        works.judge_draft(PART).write_text(text.replace('feature = "snr"', 'feature = "glitter"', 1))
    code, _, errors = teach(run, works, "--release", "--by", "R. Hale", "--why", "x")
    assert (code, words in errors) == (2, True), errors
    assert judged_by(run, works) == shipped


def test_without_a_draft_nothing_is_released(run: Run, works: Works) -> None:
    code, _, errors = teach(run, works, "--release", "--by", "R. Hale", "--why", "x")
    assert (code, "a draft expected" in errors) == (2, True)


@pytest.mark.parametrize(
    ("was", "becomes", "words"),
    [
        ('status = "released"', 'status = "draft"', "a judge that was released"),
        ('feature = "snr"', 'feature = "glitter"', "features that this version reads"),
    ],
)
def test_a_file_that_is_no_released_judge_judges_nothing(
    run: Run, works: Works, was: str, becomes: str, words: str
) -> None:
    write_judge(replace(shipped_judge(), revision=4), works.judge_file(PART))
    text = works.judge_file(PART).read_text()
    works.judge_file(PART).write_text(text.replace(was, becomes, 1))
    code, _, errors = run("inspect", "--works", works.folder, "--no-pictures")
    assert (code, words in errors) == (2, True)
    assert f"judges/{PART}.toml" in errors


def test_too_few_labels_teach_nothing_and_the_report_says_so(run: Run, works: Works) -> None:
    code, _, errors = teach(run, works)
    assert (code, "100 labels are needed" in errors) == (2, True)
    assert "there are 0 of marks and 0 of none" in errors
    page = works.judge_draft(PART).with_suffix(".html").read_text()
    assert "No draft was written" in page
    assert not works.judge_draft(PART).exists()


def test_an_old_works_without_the_folder_is_taught_all_the_same(run: Run, works: Works) -> None:
    works.judge_file(PART).parent.rmdir()
    assert teach(run, works)[0] == 2
    assert works.judge_draft(PART).with_suffix(".html").exists()


@pytest.mark.long
def test_labels_of_a_tray_find_their_findings_in_its_frames_again(run: Run, tmp_path: Path) -> None:
    list(render_shots(tmp_path / "made", Order("faces", TEASPOON, 1, 23)))
    works = new_works(tmp_path / "works", "Aldermoor Flatware Works", PEOPLE)
    made_at = tmp_path / "made"
    part = TEASPOON.part
    works.part_file(part).parent.mkdir(parents=True)
    for file in made_at.glob("*.*"):
        if file.name in ("part.toml", "outline.csv", "outline.dxf"):
            shutil.copy(file, works.part_file(part).with_name(file.name))
    station = next(iter(made_at.glob("station.toml")))
    name = next(line.split('"')[1] for line in station.read_text().splitlines() if line.startswith("station"))
    shutil.copy(station, works.station_file(name))
    shutil.copy(made_at / "limits.toml", works.limits_file(part))
    (shot,) = made_at.glob("faces-*")
    tray = json.loads((shot / "shot.json").read_text())["tray"]
    shutil.move(shot, works.shots / shot.name)
    release(run, works, works.limits_file(part))
    code, _, errors = run("inspect", "--works", works.folder, "--no-pictures")
    assert code == 0, errors
    with closing(read_works(works.folder).open()) as store:
        given = 0
        for piece in count(1):
            judgement = newest_judgement(store, tray, piece)
            if judgement is None:
                break
            with store.read() as connection:
                judged = judged_pieces(connection, [judgement])[judgement]
            for asked in questions(judgement, judged):
                label = NewLabel(f"uid-{given:08d}", judgement, asked.finding, "mark", "R. Hale", "declared", "")
                given += give_label(store, label).outcome == "stored"
        kept = labels(store, part=part)
    assert len(kept) == given > 0
    ((marks, words),) = labelled_marks(works, kept)
    assert words == ""
    assert [(one.piece, one.kind) for one in marks] == [(one.piece, one.kind) for one in kept]
    assert all(one.picture for one in marks)
