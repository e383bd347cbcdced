"""Make the pictures of the pages anew, every state, from the demo's trays in a works of its own.

    .venv/bin/python docs/make_screenshots.py

Needs the tests' environment and Debian's Chromium. Writes `docs/pictures/page-*.jpg`.
"""

import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import datetime, timedelta
from pathlib import Path

from playwright.sync_api import Browser, Page, expect, sync_playwright

from app.store.recall import results
from app.store.station_checks import Check, doubtful_trays, file_checks
from app.store.works import Person, Works, new_works
from synthetic_images.demo import render_demo
from synthetic_images.history import DieCourse, History, render_history
from synthetic_images.spoons import TEASPOON
from tests.pages.conftest import CHROMIUM, CHROMIUM_FLAGS, Served, choose
from tests.pages.test_review import judge, piece_on, saved
from tests.run.rendered_works import works_of
from vision.calibrate.drift import ReferenceValue, check_reference

PICTURES = Path(__file__).resolve().parent / "pictures"
BRIGHTBOWL = Path(sys.executable).with_name("brightbowl")
TRAYS = 12
QUALITY = 80
PEOPLE = (
    Person("R. Hale", ("review", "tune", "release"), None),
    Person("M. Okafor", ("review",), None),
    Person("Guest", ("read",), None),
)


def main() -> None:
    """Render, judge, serve, look."""
    with tempfile.TemporaryDirectory() as scratch:
        works = demo_works(Path(scratch))
        served = Served(works, Path(scratch) / "serve.log")
        served.start()
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path=CHROMIUM, chromium_sandbox=False, args=CHROMIUM_FLAGS
                )
                for name, state in STATES.items():
                    print(f"page-{name}.jpg", flush=True)
                    state(served, browser, PICTURES / f"page-{name}.jpg")
                served.stop()
                print("page-dies.jpg", flush=True)
                served = Served(works_of_dies(Path(scratch)), Path(scratch) / "serve-dies.log")
                served.start()
                _dies(served, browser, PICTURES / "page-dies.jpg")
                browser.close()
        finally:
            served.stop()


def demo_works(folder: Path) -> Works:
    """The demo's trays judged into the store of a works."""
    works = new_works(folder / "works", "Aldermoor Flatware Works", PEOPLE)
    for revision, line in enumerate(render_demo(works.shots, TRAYS).lines, start=1):
        # The demo's lines are judged by limits of their own; in one works each set needs a number of its own.
        limits = line.limits_file.read_text(encoding="utf-8")
        line.limits_file.write_text(limits.replace("revision = 1", f"revision = {revision}"), encoding="utf-8")
        files = ["--part", line.part_file, "--station", line.station_file, "--limits", line.limits_file]
        out = works.results / line.part_file.parent.name
        store = works.folder / works.store_place
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
    command = [BRIGHTBOWL, "inspect", source / "shots", "--works", works.folder, "--no-pictures", "--jobs", "2"]
    subprocess.run(command, check=True)
    return works


def _dies(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"dies?{HALE}", height=1640) as page:
        expect(page.get_by_alt_text("Places where marks come back")).to_be_visible(timeout=60_000)
        shoot(page, file)


State = Callable[[Served, Browser, Path], None]
STATES: dict[str, State] = {}


def state(name: str) -> Callable[[State], State]:
    """Name a state; it is photographed in the order of this file, since verdicts stay given."""

    def add(one: State) -> State:
        STATES[name] = one
        return one

    return add


@contextmanager
def opened(served: Served, browser: Browser, path: str, width: int = 1280, height: int = 800) -> Iterator[Page]:
    """A page of a browser of its own."""
    context = browser.new_context(viewport={"width": width, "height": height})
    page = context.new_page()
    page.goto(f"{served.url}/{path}")
    yield page
    page.goto("about:blank")
    context.close()


def shoot(page: Page, file: Path) -> None:
    """Photograph a page at rest."""
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(400)
    page.screenshot(path=file, type="jpeg", quality=QUALITY)


HALE, OKAFOR = "who=R.+Hale", "who=M.+Okafor"


@state("nobody")
def _nobody(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, "") as page:
        expect(page.get_by_text("Choose your name")).to_be_visible()
        shoot(page, file)


@state("review")
def _review(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}") as page:
        piece_on(page)
        shoot(page, file)


@state("review-large")
def _review_large(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}", 2560, 1440) as page:
        piece_on(page)
        page.keyboard.press("t")
        shoot(page, file)


@state("finding")
def _finding(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}") as page:
        with_light(page)
        page.keyboard.press("j")
        shoot(page, file)


def with_light(page: Page) -> None:
    """Go on to a piece that was lit from the front, and light it low."""
    piece_on(page)
    while page.locator(".lights button").count() < 3:
        judge(page, "s")
    page.keyboard.press("3")


@state("deviations")
def _deviations(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}") as page:
        with_light(page)
        page.keyboard.press("1")
        page.keyboard.press("d")
        shoot(page, file)


@state("ruler")
def _ruler(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}") as page:
        piece_on(page)
        page.keyboard.press("m")
        box = page.locator(".stage").bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + 0.12 * box["width"], box["y"] + 0.5 * box["height"])
        page.mouse.down()
        page.mouse.move(box["x"] + 0.38 * box["width"], box["y"] + 0.5 * box["height"])
        page.mouse.up()
        shoot(page, file)


@state("reject")
def _reject(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}") as page:
        piece_on(page)
        page.keyboard.press("t")
        page.keyboard.press("r")
        shoot(page, file)


@state("keys")
def _keys(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}") as page:
        piece_on(page)
        page.keyboard.press("?")
        shoot(page, file)


@state("dark-room")
def _dark(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}") as page:
        with_light(page)
        page.keyboard.press("l")
        shoot(page, file)


@state("look-only")
def _look_only(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, "?who=Guest") as page:
        piece_on(page)
        page.keyboard.press("a")
        shoot(page, file)


@state("not-saved")
def _not_saved(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}") as page:
        piece_on(page)
        page.context.route("**/desk/verdicts", lambda route: route.abort())
        judge(page, "a")
        expect(page.locator(".saved")).to_contain_text("trying again")
        shoot(page, file)
        page.context.unroute("**/desk/verdicts")
        saved(page)


@state("corrected")
def _corrected(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{OKAFOR}") as page:
        piece = judge(page, "r", "r")
        saved(page)
    with opened(served, browser, f"?{HALE}&piece={piece}") as page:
        piece_on(page)
        shoot(page, file)


@state("picture-missing")
def _missing(served: Served, browser: Browser, file: Path) -> None:
    moved = served.works.shots.with_name("moved")
    with opened(served, browser, f"?{OKAFOR}") as page:
        piece = piece_on(page)
    shutil.move(served.works.shots, moved)
    try:
        with opened(served, browser, f"?{OKAFOR}&piece={piece}") as page:
            piece_on(page)
            expect(page.locator(".stage-words")).to_contain_text("missing")
            shoot(page, file)
    finally:
        shutil.move(moved, served.works.shots)


@state("queue")
def _queue(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"queue?{HALE}") as page:
        expect(page.get_by_text("pieces wait")).to_be_visible()
        shoot(page, file)


@state("choice")
def _choice(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}") as page:
        piece_on(page)
        page.get_by_role("button", name="Which pieces").click()
        shoot(page, file)


@state("blind-begin")
def _blind_begin(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"blind?{HALE}") as page:
        page.get_by_label("Name", exact=True).fill("November, first round")
        page.get_by_label("How many pieces").fill("6")
        shoot(page, file)
        page.get_by_role("button", name="Begin").click()
        expect(page.get_by_role("combobox", name="Blind round")).to_be_enabled()
        page.wait_for_load_state("networkidle")


@state("blind")
def _blind(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"blind?{HALE}") as page:
        choose(page, "Blind round", "November, first round")
        judge(page, "a")
        shoot(page, file)


@state("lots")
def _lots(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"lots?{HALE}", height=1300) as page:
        choose(page, "Lot", re.compile("L-2611-02"))
        page.get_by_label("Why", exact=True).fill("touching pieces to be laid anew")
        page.get_by_role("button", name="Hold").click()
        expect(page.get_by_text("✗ held")).to_be_visible()
        shoot(page, file)


@state("nothing-waits")
def _empty(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}") as page:
        piece_on(page)
        while page.locator(".nothing").count() == 0 and page.locator(".desk").get_attribute("data-piece"):
            page.keyboard.press("a")
            page.wait_for_timeout(300)
        expect(page.locator(".empty-state")).to_contain_text("Nothing is waiting")
        shoot(page, file)


@state("station")
def _station(served: Served, browser: Browser, file: Path) -> None:
    with closing(served.works.open()) as store:
        file_checks(store, shift_checks(next(one.taken_at for one in results(store) if one.taken_at)))
    with opened(served, browser, f"station?{HALE}", height=1800) as page:
        expect(page.get_by_text("ST-1 must not go on")).to_be_visible()
        expect(page.get_by_role("heading", name="Light and sharpness")).to_be_visible()
        shoot(page, file)


@state("in-doubt")
def _in_doubt(served: Served, browser: Browser, file: Path) -> None:
    with closing(served.works.open()) as store:
        tray = doubtful_trays(store)[0].tray
    with opened(served, browser, f"?{HALE}&piece={tray}:1") as page:
        piece_on(page)
        shoot(page, file)


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


if __name__ == "__main__":
    main()
