"""Frames forgotten by rule: which may go, what stays, and that a death on the way is finished by the next run."""

import shutil
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from app.cli.main import main
from app.store.database.connection import Store, moment, now
from app.store.evidence import retention
from app.store.evidence.files import kept_files
from app.store.evidence.retention import note_forgotten
from app.store.evidence.verify import file_digest, verify
from app.store.lots.state import lot_state
from app.store.people.actor import Acted
from app.store.people.verdicts import NewVerdict, give
from app.store.results.shown import newest_judgement
from app.works.disk import forecast
from app.works.folder import Keep, Person, Works, new_works
from app.works.results_on_disk import Filing, file_folders
from app.works.retention import forget, plan
from app.works.shots_in_use import shots_alone, shots_in_use
from tests.formats.made import shot_table, write_shot
from tests.store.made import decide, made_piece, made_tray
from vision.errors import Unusable
from vision.formats.result import write_result
from vision.records.judged import Verdict

HALE = Acted("R. Hale", "declared", "room on the disk")
PASSED, FLAGGED, SAID, HELD, LATE = "T-passed", "T-flagged", "T-said", "T-held", "T-late"


def lay(works: Works, store: Store, tray: str, lot: str = "L-1", verdict: Verdict = "pass") -> None:
    """Lay a tray's shot and result into the works, and file them."""
    taken_at = f"2026-11-02T06:00:{len(list(works.shots.iterdir())):02d}+00:00"
    write_shot(works.shots / tray, {**shot_table(), "tray": tray, "lot": lot, "taken_at": taken_at})
    (works.results / tray).mkdir()
    piece = made_piece(1, verdict)
    write_result(made_tray(tray, [piece], lot, taken_at), works.results / tray / "result.json")
    done = file_folders(store, works, [works.results / tray], Filing((works.shots,)))
    assert done.failures == ()


@pytest.fixture
def works(tmp_path: Path) -> Works:
    made = new_works(tmp_path / "works", "Aldermoor Flatware Works", (Person("R. Hale", ("release",), None),))
    return replace(made, keep=Keep(10, 0.0))


@pytest.fixture
def store(works: Works, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    """Five trays, four of them filed long ago."""
    with closing(works.open()) as store:
        lay(works, store, PASSED)
        lay(works, store, FLAGGED, verdict="review")
        lay(works, store, SAID)
        lay(works, store, HELD, "L-2")
        piece = newest_judgement(store, SAID, 1)
        assert piece is not None
        give(store, NewVerdict("v-1", 3, piece, "R. Hale", "declared", "accept", (), "", "t"))
        decide(store, lot_state(store, "L-2").decision("hold", HALE))
        later = (moment(now()) + timedelta(days=11)).isoformat(timespec="milliseconds")
        for module in ("app.store.results.acts", "app.store.results.filing", "app.store.evidence.retention"):
            monkeypatch.setattr(f"{module}.now", lambda: later)
        lay(works, store, LATE)
        yield store


def test_passed_pieces_that_nobody_judged_and_nothing_doubts_go(store: Store, works: Works) -> None:
    planned = plan(store, works)
    assert [one.tray for one in planned.due] == [PASSED]
    assert planned.left == ()
    before = verify(store, works.folder)
    forget(store, works, HALE)
    assert sorted(path.name for path in works.shots.iterdir()) == [FLAGGED, HELD, LATE, SAID]
    assert (works.results / PASSED / "result.json").is_file()
    after = verify(store, works.folder)
    assert after.broken == ()
    assert (after.files, after.forgotten) == (before.files - len(planned.due[0].files), len(planned.due[0].files))
    assert plan(store, works).due == ()


def test_a_share_drawn_by_its_frames_stays_for_ever(store: Store, works: Works) -> None:
    for share in (1.0, 1.0):
        planned = plan(store, replace(works, keep=Keep(10, share)))
        assert (planned.due, planned.drawn) == ((), 1)


def test_the_draw_is_even() -> None:
    # 10,000 draws, 2 % of them: outside 4 standard deviations of the binomial (14) once in 16,000 seeds; this is one.
    kept = sum(retention._draw(f"frames {number}") < 0.02 for number in range(10_000))
    assert abs(kept - 200) < 4 * 14


def test_a_clock_that_runs_ahead_forgets_nothing(store: Store, works: Works, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.store.evidence.retention.now", lambda: "2099-01-01T00:00:00+00:00")
    assert [one.tray for one in plan(store, works).due] == [PASSED]


@pytest.mark.parametrize("step", ["rename", "rmtree"])
def test_a_death_on_the_way_is_finished_by_the_next_run(
    store: Store, works: Works, step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def die(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as dying:
        dying.setattr(*((Path, "rename", die) if step == "rename" else (shutil, "rmtree", die)))
        with pytest.raises(KeyboardInterrupt):
            forget(store, works, HALE)
    assert verify(store, works.folder).broken == ()
    forget(store, works, HALE)
    assert sorted(path.name for path in works.shots.iterdir()) == [FLAGGED, HELD, LATE, SAID]
    assert verify(store, works.folder).broken == ()


def test_what_is_not_the_shot_that_was_filed_is_left_alone_and_named(store: Store, works: Works) -> None:
    (works.shots / PASSED / "note.txt").write_text("scratched in the tumbler?")
    assert "note.txt" in plan(store, works).left[0]
    (works.shots / PASSED / "note.txt").unlink()
    (works.shots / PASSED / "back.png").write_bytes(b"another picture")
    planned = plan(store, works)
    assert planned.due == ()
    assert "back.png" in planned.left[0]


def test_frames_of_a_name_used_again_stay_while_the_newer_shot_needs_them(store: Store, works: Works) -> None:
    taken_at = "2026-11-20T06:00:00+00:00"
    write_shot(works.shots / PASSED, {**shot_table(), "tray": PASSED, "lot": "L-9", "taken_at": taken_at})
    (works.results / "again").mkdir()
    write_result(made_tray(PASSED, [made_piece(1)], "L-9", taken_at), works.results / "again" / "result.json")
    assert file_folders(store, works, [works.results / "again"], Filing((works.shots,))).failures == ()
    assert plan(store, works).due == ()


def test_a_works_without_a_rule_forgets_nothing(store: Store, works: Works) -> None:
    with pytest.raises(Unusable, match="without one all frames are kept"):
        plan(store, replace(works, keep=None))


def test_a_forgotten_file_by_hand_is_found(store: Store, works: Works) -> None:
    shutil.rmtree(works.shots / LATE)
    assert {one.what.endswith("is gone") for one in verify(store, works.folder).broken} == {True}


def test_the_forecast_is_free_bytes_over_bytes_a_day(store: Store, works: Works) -> None:
    planned = plan(store, works)
    found = forecast(store, works, planned)
    assert found.full_in_days == pytest.approx(found.free / found.a_day)
    assert (found.due, planned.coming) == (planned.bytes, 2 / 5)  # two of five trays passed unseen
    assert found.full_in_days_by_rule is not None
    assert found.full_in_days_by_rule > (found.full_in_days or 0.0)


@pytest.mark.usefixtures("store")
def test_the_commands_tell_and_do(
    works: Works, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = works.folder / "works.toml"
    file.write_text(file.read_text() + "\n[keep]\npassed_days = 10\nshare = 0\n")

    def told(*words: str) -> tuple[int, str]:
        monkeypatch.setattr("sys.argv", ["brightbowl", *words, "--works", str(works.folder)])
        with pytest.raises(SystemExit) as left:
            main()
        out = capsys.readouterr()
        return int(left.value.code or 0), out.out + out.err

    code, words = told("forget", "--dry-run")
    assert code == 0
    assert "frames of 1 trays would be forgotten" in words
    assert (works.shots / PASSED).is_dir()
    assert "full in" in told("disk")[1]
    assert told("forget")[0] == 2  # nobody said who
    assert "frames of 1 trays forgotten" in told("forget", "--by", "R. Hale")[1]
    assert not (works.shots / PASSED).exists()
    assert "forgotten by rule" in told("verify")[1]


def test_a_verdict_given_while_the_files_are_read_keeps_its_frames(
    store: Store, works: Works, monkeypatch: pytest.MonkeyPatch
) -> None:
    piece = newest_judgement(store, PASSED, 1)
    assert piece is not None

    def read(path: Path) -> str:
        give(store, NewVerdict("v-2", 1, piece, "R. Hale", "declared", "reject", (), "", "t"))
        return file_digest(path)

    monkeypatch.setattr("app.works.retention.file_digest", read)
    assert forget(store, works, HALE).due == ()
    assert (works.shots / PASSED / "back.png").is_file()


def test_a_shot_laid_in_the_place_of_one_that_goes_stays_whole(
    store: Store, works: Works, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A camera that uses names again writes the moment after the old frames were said to be forgotten."""

    def note(*words: object) -> None:
        note_forgotten(*words)  # type: ignore[arg-type]
        write_shot(works.shots / PASSED, {**shot_table(), "tray": PASSED, "lot": "L-9"})
        (works.shots / PASSED / "back.png").write_bytes(b"another picture")

    monkeypatch.setattr("app.works.retention.note_forgotten", note)
    done = forget(store, works, HALE)
    assert "came meanwhile" in done.left[0]
    assert (works.shots / PASSED / "back.png").read_bytes() == b"another picture"
    monkeypatch.undo()
    forget(store, works, HALE)
    assert (works.shots / PASSED / "back.png").is_file()


def test_what_lies_out_of_sight_and_was_not_forgotten_is_not_deleted(store: Store, works: Works) -> None:
    hidden = works.shots / f".{FLAGGED}.forgotten"
    (works.shots / FLAGGED).rename(hidden)
    assert "came meanwhile" in forget(store, works, HALE).left[0]
    assert (works.shots / FLAGGED / "back.png").is_file()
    shutil.copytree(works.shots / FLAGGED, hidden)  # its name is taken again: neither goes
    assert str(hidden) in forget(store, works, HALE).left[0]
    assert (hidden / "back.png").is_file()


def test_nothing_is_forgotten_while_shots_are_judged_and_one_forgets_at_a_time(store: Store, works: Works) -> None:
    with shots_in_use(works), shots_in_use(works), pytest.raises(Unusable, match="nobody judges"):
        forget(store, works, HALE)
    with shots_alone(works), pytest.raises(Unusable, match="nobody judges"):
        forget(store, works, HALE)
    assert [one.tray for one in forget(store, works, HALE).due] == [PASSED]


def test_verify_that_runs_while_frames_are_forgotten_finds_nothing_amiss(
    store: Store, works: Works, monkeypatch: pytest.MonkeyPatch
) -> None:
    forgets = iter([lambda: forget(store, works, HALE)])

    def read(path: Path) -> str:
        for one in forgets:
            one()
        return file_digest(path)

    planned = plan(store, works)
    monkeypatch.setattr("app.store.evidence.verify.file_digest", read)
    found = verify(store, works.folder)
    assert (found.broken, found.forgotten) == ((), len(planned.due[0].files))


def test_a_file_that_goes_while_it_is_read_is_as_one_that_was_not_there(tmp_path: Path) -> None:
    class Going(type(tmp_path)):  # type: ignore[misc]
        def is_file(self, **_: object) -> bool:
            return True

    assert kept_files([("shots/T-1/back.png", Going(tmp_path / "gone.png"))]) == ()
