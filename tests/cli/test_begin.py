"""From an empty folder, a drawing, a picture of a target and rendered frames to a judged lot: by commands, and led."""

import os
import pty
import select
import shutil
import signal
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result

from app.cli.commands import cli
from app.store.lots.lot_list import list_lots
from app.works.first_steps import first_steps
from app.works.folder import read_works
from synthetic_images.outlines.families import FINE_MM_PER_PX, fine_size_px
from synthetic_images.spoons import TEASPOON
from synthetic_images.targets import TargetCamera, render_chessboard
from synthetic_images.trays.shots import Order, render_shots
from vision.errors import Unusable

BRIGHTBOWL = [sys.executable, "-c", "from app.cli.main import main; main()"]
FOCAL_PX = 1e5  # from so far away a lens that draws no perspective worth a name


@dataclass(frozen=True)
class Given:
    """What a works has before it begins: a drawing, the folder of the target's picture, and tray shots."""

    drawing: Path
    target: Path
    shots: Path


@pytest.fixture(scope="module")
def given(tmp_path_factory: pytest.TempPathFactory) -> Given:
    folder = tmp_path_factory.mktemp("given")
    shots = list(render_shots(folder / "rendered", Order("plain", TEASPOON, 1, 2611)))
    drawing = folder / "TS-135.dxf"
    shutil.copy(folder / "rendered" / "outline.dxf", drawing)
    inbox = folder / "inbox"
    inbox.mkdir()
    for shot in shots:
        shot.rename(inbox / shot.name)
    (folder / "target").mkdir()
    size = fine_size_px(TEASPOON, 3)
    matrix = np.array([[FOCAL_PX, 0.0, size[0] / 2], [0.0, FOCAL_PX, size[1] / 2], [0.0, 0.0, 1.0]])
    at = np.array([-56.0, -38.5, FOCAL_PX * FINE_MM_PER_PX])
    camera = TargetCamera(matrix, np.zeros(5), np.zeros(3), at, size)
    picture = render_chessboard(camera, np.random.default_rng(7), (17, 12), 7.0).astype(np.uint8)
    cv2.imwrite(str(folder / "target" / "flat.png"), picture)
    return Given(drawing, folder / "target", inbox)


def call(*words: str | Path) -> Result:
    result = CliRunner().invoke(cli, [str(word) for word in words])
    if isinstance(result.exception, Unusable):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result


def test_eight_commands_lead_from_nothing_to_a_judged_lot(tmp_path: Path, given: Given) -> None:
    works = tmp_path / "works"
    by = ("--works", works, "--by", "R. Hale")
    call("new", works, "--name", "Aldermoor Flatware Works")
    call("person", "R. Hale", "--role", "release", "--role", "tune", "--role", "review", "--works", works)
    target = ("--squares", "17x12", "--pitch-mm", "7", "--target-thickness-mm", "0")
    call("calibrate", given.target / "flat.png", *target, "--station", "ST-1", *by)
    call("part", given.drawing, "--part", "TS-135", *by)
    call("limits", "draft", "--part", works / "parts/TS-135/part.toml", "--general", "m", "--out", tmp_path / "l.toml")
    call("limits", "release", tmp_path / "l.toml", *by, "--why", "first lot")
    call("inspect", given.shots, "--works", works)
    said = call("lot", "L-2611-01", "--works", works).output
    assert "3 pieces" in said
    place = read_works(works)
    steps = first_steps(place)
    assert [step.name for step in steps if not step.done] == []
    shots = next(step.words for step in steps if step.name == "shots")
    assert shots == f"those of the lots judged so far (1); none lies directly in {place.shots}"
    with closing(place.open()) as store:
        assert [lot.lot for lot in list_lots(store)] == ["L-2611-01"]


class Terminal:
    """A program on a terminal of its own: what it says, and answers typed when it asks."""

    def __init__(self, words: list[str | Path]) -> None:
        self.master, inner = pty.openpty()
        self.running = subprocess.Popen(words, stdin=inner, stdout=inner, stderr=inner, start_new_session=True)
        os.close(inner)
        self.said = ""
        self._read_to = 0

    def answer(self, asked: str, text: str) -> None:
        """Wait until it asks this, then type."""
        self.until(asked)
        os.write(self.master, f"{text}\n".encode())

    def until(self, asked: str) -> None:
        """Wait until it has said this since the last time."""
        while asked not in self.said[self._read_to :]:
            self._read()
        self._read_to = self.said.index(asked, self._read_to) + len(asked)

    def end(self) -> int:
        """Its exit code, once it has ended."""
        while self.running.poll() is None:
            self._read(0.2)
        os.close(self.master)
        return self.running.returncode

    def _read(self, wait_s: float = 90.0) -> None:
        ready, _, _ = select.select([self.master], [], [], wait_s)
        assert ready or wait_s < 1.0, self.said
        if ready:
            try:
                self.said += os.read(self.master, 65536).decode("utf-8", "replace")
            except OSError:  # the other end is closed
                assert self.running.poll() is None or wait_s < 1.0, self.said
                time.sleep(0.05)


@pytest.mark.long
def test_led_from_nothing_to_a_judged_lot_left_and_taken_up_again(tmp_path: Path, given: Given) -> None:
    works = tmp_path / "works"
    one = Terminal([*BRIGHTBOWL, "begin", works])
    one.answer("What is the works called?", "Aldermoor Flatware Works")
    one.answer("Who releases limits and lots?", "R. Hale")
    one.answer("Who else gives verdicts?", "")
    one.answer("Pictures of the target", str(tmp_path))  # a folder without pictures: said, and asked again
    one.until("a folder with pictures")
    one.until("Pictures of the target")
    os.killpg(one.running.pid, signal.SIGINT)
    assert one.end() == 130
    assert "Traceback" not in one.said
    listed = subprocess.run([*BRIGHTBOWL, "begin", works, "--list"], capture_output=True, text=True, check=False)
    assert listed.returncode == 1
    assert "2 of 7, people: done" in listed.stdout
    assert "brightbowl calibrate" in listed.stdout
    two = Terminal([*BRIGHTBOWL, "begin", works])
    two.answer("Pictures of the target", str(given.target))
    two.answer("Inner corners", "17x12")
    two.answer("from corner to corner", "7")
    two.answer("maker promises", "")
    two.answer("How thick", "0")
    two.answer("station's name", "")
    two.answer("part's drawing", str(given.drawing))
    two.answer("shots and limits call", "")
    two.answer("What people call it", "Teaspoon 135")
    two.answer("general tolerances", "m")
    two.answer("Why may these limits judge?", "first lot")
    two.answer("How does the camera name a frame", "{tray}-{bulb}.png")  # no such field: said, and asked again
    two.answer("What may {light} be", "b=back")
    two.answer("Which part does it photograph", "")
    two.until("found {bulb}")
    two.answer("How does the camera name a frame", "{lot}_{tray}/{light}.png")
    two.answer("What may {light} be", "b=back")
    two.answer("Which part does it photograph", "")
    two.until("Put tray shots into")
    for shot in given.shots.iterdir():  # the backlit frame alone, and no shot.json
        folder = works / "shots" / f"L-2611-01_{shot.name}"
        folder.mkdir()
        shutil.copy(shot / "back.png", folder / "b.png")
    os.write(two.master, b"\n")
    two.answer("Judge what lies in", "y")
    two.until("this works judges")
    assert two.end() == 0, two.said
    assert "Traceback" not in two.said
