"""Who may do what is asked everywhere alike: whatever a person answers for, on every command and every page."""

import ast
import inspect
import shutil
from contextlib import closing
from pathlib import Path
from typing import get_args

import pytest

import app.store
import app.works
from app.store.evidence.chain import head_of
from app.store.results.filing import file_result
from app.works.backup import back_up
from app.works.folder import Person, Works, new_works, read_works
from app.works.roles import NEEDS, Act
from tests.run.made import make_files
from tests.shell import Run
from tests.store.made import made_tray, to_file

# What a person answers for: the functions that do it, and the act whose role is asked for first.
ANSWERED: dict[str, tuple[Act, ...]] = {
    "give": ("review",),
    "give_label": ("review",),
    "make_blind": ("begin a blind round",),
    "file_limits": ("draft limits",),
    "update_station": ("calibrate",),
    "file_station": ("calibrate",),
    "write_part_folder": ("add a part",),
    "bring_in": ("import",),
    "file_folders": ("import",),
    "release": ("release limits",),
    "release_file": ("release limits",),
    "release_limits": ("release limits",),
    "go_back": ("release limits",),
    "release_judge": ("release a judge of marks",),
    "release_taught": ("release a judge of marks",),
    "withdraw_judge": ("release a judge of marks",),
    "decide_as_it_stands": ("decide on a lot",),
    "Chosen": ("move a tray",),
    "settle_doubts": ("move a tray",),
    "restore": ("restore",),
    "forget": ("forget frames",),
    "state_size": ("say how large a lot is",),
}
# What machines do, or what only says who looks at what: `docs/roles.md` lets everybody.
BY_MACHINES = {
    "archive_lot",
    "claim",
    "copy_store",
    "copy_to_file",
    "file_challenge",
    "file_checks",
    "file_result",
    "file_run",
    "file_tray",
    "give_back",
    "make_messages",
    "mark_sent",
    "note_forgotten",
    "note_judged",
    "note_walked",
    "open_store",
    "put_aside",
    "renew",
}
# These file what a run has just judged, or restore what is newer than a backup: no person's act of its own.
FILING_ONLY = {"app/cli/inspect.py", "app/cli/demo.py", "app/cli/watch.py"}
ROOT = Path(app.store.__file__).parents[2]
CALLERS = sorted([*(ROOT / "app" / "cli").glob("*.py"), *(ROOT / "app" / "pages").glob("*.py")])


def test_every_act_stands_in_the_table_and_is_asked_for() -> None:
    assert set(NEEDS) == set(get_args(Act)) == {act for acts in ANSWERED.values() for act in acts}
    page = (ROOT / "docs" / "roles.md").read_text()
    assert page.count("| `release` |") + page.count("| `tune` |") + page.count("| `review` |") >= len(NEEDS)


def test_whatever_writes_into_a_store_is_answered_for_or_done_by_machines() -> None:
    for door in (app.store, app.works):
        for name in door.__all__:
            one = getattr(door, name)
            if inspect.isfunction(one) and ".write()" in inspect.getsource(one):
                assert name in ANSWERED or name in BY_MACHINES, name


@pytest.mark.parametrize("file", CALLERS, ids=lambda file: f"{file.parent.name}/{file.name}")
def test_whoever_calls_it_asks_for_its_role(file: Path) -> None:
    tree = ast.parse(file.read_text())
    brought = {
        alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        and (node.module or "").startswith(("app.store", "app.works", "app.report", "vision"))
        for alias in node.names
    }
    words = {node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)}
    if file.relative_to(ROOT).as_posix() in FILING_ONLY:
        return
    for name in brought & ANSWERED.keys():
        assert words & set(ANSWERED[name]), f"{file}: {name} without asking for {ANSWERED[name]}"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A works with a lot, where M. Okafor may only read, and files for it beside."""
    folder = tmp_path_factory.mktemp("made")
    people = (Person("R. Hale", ("review", "tune", "release"), None), Person("M. Okafor", ("read",), None))
    works = new_works(folder / "works", "Aldermoor Flatware Works", people)
    make_files(folder)
    with closing(works.open()) as store:
        file_result(store, to_file(made_tray("T-1", lot="L-1")))
    back_up(works, folder / "backup.zip")
    with (works.folder / "works.toml").open("a") as file:
        file.write("\n[keep]\npassed_days = 10\nshare = 0\n")
    return folder


@pytest.fixture
def works(made: Path, tmp_path: Path) -> Works:
    """That works and its files, of this test alone."""
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    return read_works(tmp_path / "works")


CALLS: dict[Act, tuple[str, ...]] = {
    "import": ("import {works}/results --works {works}",),
    "move a tray": (
        "import {works}/results --works {works} --move --why seen",
        "import {works}/results --works {works} --retake --why seen",
        "import {works}/results --works {works} --stand --why seen",
        "doubts --works {works} --settle 1 --why seen",
    ),
    "release limits": (
        "limits release {files}/limits.toml --works {works} --why seen",
        "limits back 1 --of TS-135 --works {works} --why seen",
    ),
    "decide on a lot": (
        "lot L-1 --works {works} --release --leave-waiting --why seen",
        "lot L-1 --works {works} --hold --why seen",
    ),
    "say how large a lot is": ("lot L-1 --works {works} --size 800",),
    "restore": ("restore {files}/backup.zip --works {works}",),
    "forget frames": ("forget --works {works}",),
    "add a part": ("part {files}/outline.csv --works {works} --part TS-9",),
    "calibrate": (
        "calibrate {files}/outline.csv --squares 9x6 --pitch-mm 5 --works {works} --station ST-1",
        "calibrate {files}/outline.csv --squares 9x6 --pitch-mm 5 --out {works}/stations/ST-1.toml",
        "sensor --lamp {files}/lamp.png --out {files}/sensor.json --write {works}/stations/ST-1.toml",
    ),
}


@pytest.mark.parametrize("call", [call for calls in CALLS.values() for call in calls])
def test_no_command_does_it_for_somebody_without_the_role(call: str, works: Works, tmp_path: Path, run: Run) -> None:
    (act,) = (one for one, calls in CALLS.items() if call in calls)
    (works.results / "T-9").mkdir()
    before = head(works)
    code, _, errors = run(*call.format(works=works.folder, files=tmp_path).split(), "--by", "M. Okafor")
    assert code == 2
    assert f"the role {NEEDS[act]}, which has: R. Hale" in errors
    assert head(works) == before


def head(works: Works) -> str:
    with closing(works.open()) as store, store.read() as connection:
        return str(head_of(connection))
