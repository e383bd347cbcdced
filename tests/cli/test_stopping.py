"""Ctrl+C and SIGTERM end a command with one line, at any moment: also while its processes start."""

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.stopping import commands, stopped


@pytest.mark.parametrize(
    ("name", "wait", "number", "to_all", "code", "line"),
    [
        ("inspect --jobs 2", 2.5, signal.SIGINT, True, 130, "brightbowl: stopped\n"),
        ("inspect --jobs 2", 4.0, signal.SIGTERM, False, 143, "brightbowl: stopped\n"),
        ("watch --jobs 2", "watch/health.json", signal.SIGINT, True, 0, ""),
    ],
)
def test_a_command_that_is_told_to_stop_does_so_and_says_no_more(
    tmp_path: Path, name: str, wait: float | str, number: signal.Signals, to_all: bool, code: int, line: str
) -> None:
    works, every = commands(tmp_path)
    # A watcher that is still being loaded ends as any program does: it is let begin, however long that takes.
    begun = (works.folder / wait).is_file if isinstance(wait, str) else wait
    ended = stopped(every[name], begun, number, to_all)
    if ended.over_before:  # a quick machine was done before
        assert ended.code == 0
        return
    assert ended.said == line
    assert ended.code == code
    tries = works.folder / "watch" / "tries.json"
    if tries.is_file():  # what was in hand is no suspect: that it was dropped is no fault of its own
        assert all(one["ends"] == 0 for one in json.loads(tries.read_text()).values())


def test_the_program_holds_signals_from_its_first_lines_to_its_last() -> None:
    """The less it loads before it holds them, the shorter is the time in which Python answers in its own way."""
    begun = "import os, sys; before = set(sys.modules); from app.cli.start import main"
    ran = python(f"{begun}; print(*sorted(set(sys.modules) - before))")
    assert ran.stdout.split() == ["app", "app.cli", "app.cli.main", "app.cli.start"]
    for later in ("", "try:\n    main()\nexcept SystemExit:\n    pass\n"):
        ran = python(f"{begun}\n{later}os.kill(os.getpid(), 2)")
        assert (ran.returncode, ran.stderr) == (130, "brightbowl: stopped\n")


def python(program: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", program, "--version"]
    return subprocess.run(command, capture_output=True, text=True, check=False)
