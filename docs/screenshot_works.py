"""The works that the pictures of the pages show: the demo's trays, three dies, a station's checks."""

import random
import subprocess
import sys
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

from app.store.lots.revisions import release
from app.store.people.actor import Acted
from app.store.stations.checks import Check
from app.works.folder import Person, Works, new_works
from app.works.limits_in_force import release_file
from synthetic_images.demo import render_demo
from synthetic_images.spoons import TEASPOON
from synthetic_images.trays.history import DieCourse, History, render_history
from tests.run.rendered_works import works_of
from vision.calibrate.checks import ReferenceValue, check_reference
from vision.formats.limits import read_limits
from vision.formats.part import read_part

BRIGHTBOWL = Path(sys.executable).with_name("brightbowl")
TRAYS = 12
PEOPLE = (
    Person("R. Hale", ("review", "tune", "release"), None),
    Person("M. Okafor", ("review",), None),
    Person("Guest", ("read",), None),
)
BY = Acted("R. Hale", "declared", "as agreed with the customer")


def demo_works(folder: Path) -> Works:
    """The demo's trays judged into the store of a works."""
    works = new_works(folder / "works", "Aldermoor Flatware Works", PEOPLE)
    store = works.folder / works.store_address
    for revision, line in enumerate(render_demo(works.folder, TRAYS).lines, start=1):
        # The demo's lines are judged by limits of their own; in one works each set needs a number of its own.
        limits = line.limits_file.read_text(encoding="utf-8")
        line.limits_file.write_text(limits.replace("revision = 1", f"revision = {revision}"), encoding="utf-8")
        files = ["--part", line.part_file, "--station", line.station_file, "--limits", line.limits_file]
        out = works.results / line.part_file.parent.name
        with closing(works.open()) as opened:
            release(opened, read_limits(line.limits_file, read_part(line.part_file)), BY)
        subprocess.run([BRIGHTBOWL, "inspect", line.shots, *files, "--out", out, "--store", store], check=True)
    return works


def works_of_dies(folder: Path) -> Works:
    """Three dies over 400,000 strokes: one ground anew, one that nicks every piece, one clean."""
    source = folder / "history"
    dies = (
        DieCourse("D1", 3e-7, regrind_at=215_000.0, swell_s_mm=60.0),
        DieCourse("D2", 1.5e-7, nick_s_mm=200.0),
        DieCourse("D3"),
    )
    list(render_history(source, History(TEASPOON, dies, 30, 400_000.0)))
    works = works_of(source, folder / "dies", PEOPLE)
    with closing(works.open()) as opened:
        release_file(opened, works, works.limits_file("TS-135"), BY)
    command = [BRIGHTBOWL, "inspect", source / "shots", "--works", works.folder, "--no-pictures", "--jobs", "2"]
    subprocess.run(command, check=True)
    return works


def shift_checks(first_tray_at: str) -> list[Check]:
    """A fortnight of checks up to the first tray, and one after it that stops: somebody knocked the camera."""
    known = [ReferenceValue("length_mm", 135.02, 0.004, 0.003), ReferenceValue("width_mm.bowl", 30.004, 0.004, 0.002)]
    chance = random.Random(6)
    earlier: dict[str, list[float]] = {one.measure: [] for one in known}
    checks = []
    for number in range(29):
        knocked = 0.031 if number == 28 else 0.0
        found = {one.measure: one.value + chance.gauss(knocked, one.repeat_standard) for one in known}
        result = check_reference(known, found, earlier)
        at = datetime.fromisoformat(first_tray_at) + timedelta(hours=8 * (number - 27.5))
        checks.append(
            Check("ST-1", "3f9a" * 16, "REF-1", at.isoformat(), result.verdict, result.reasons, found, result.drifts)
        )
        for one in known:
            earlier[one.measure].append(found[one.measure])
    return checks
