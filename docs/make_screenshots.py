"""Make the pictures of the pages anew, every state, from the demo's trays in a works of its own.

    .venv/bin/python docs/make_screenshots.py [STATE ...]

Named states alone show the bench as it is before anything was judged. Needs the tests' environment and Debian's
Chromium. Writes `docs/pictures/page-*.jpg`, and of each state a sheet of all sizes, light and dark,
`docs/pictures/sheets/*.jpg`.
"""

import re
import shutil
import sys
import tempfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Literal

from playwright.sync_api import Browser, Page, expect, sync_playwright
from screenshot_works import demo_works, shift_checks, works_of_dies
from screenshots import PICTURES, SHEETS, SIZES, opened, shoot

from app.store.results.recall import recall_results
from app.store.stations.checks import file_checks, suspect_trays
from tests.pages.conftest import CHROMIUM, CHROMIUM_FLAGS, Served, choose
from tests.pages.desk import judge, piece_on, saved


def main(only: list[str]) -> None:
    """Render, judge, serve, look; at some states only, where they are named."""
    SHEETS.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        works = demo_works(Path(scratch))
        served = Served(works, Path(scratch) / "serve.log")
        served.start()
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path=CHROMIUM, chromium_sandbox=False, args=CHROMIUM_FLAGS
                )
                for name in [one for one in STATES if one in only] if only else STATES:
                    print(f"page-{name}.jpg", flush=True)
                    STATES[name](served, browser, PICTURES / f"page-{name}.jpg")
                if not only or "dies" in only:
                    served.stop()
                    print("page-dies.jpg", flush=True)
                    served = Served(works_of_dies(Path(scratch)), Path(scratch) / "serve-dies.log")
                    served.start()
                    _dies(served, browser, PICTURES / "page-dies.jpg")
                browser.close()
        finally:
            served.stop()


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


HALE, OKAFOR = "who=R.+Hale", "who=M.+Okafor"


def with_light(page: Page) -> None:
    """Go on to a piece that was lit from the front, and light it low."""
    piece_on(page)
    while page.locator(".lights button").count() < 3:
        judge(page, "s")
    page.keyboard.press("3")


def _pressed(begin: Callable[[Page], object], *keys: str, who: str = HALE) -> State:
    """What the desk shows after some keys."""

    def shot(served: Served, browser: Browser, file: Path) -> None:
        with opened(served, browser, f"?{who}") as page:
            begin(page)
            for key in keys:
                page.keyboard.press(key)
            shoot(page, file)

    return shot


@state("nobody")
def _nobody(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, "") as page:
        expect(page.get_by_text("Choose your name")).to_be_visible()
        shoot(page, file)


def _review(size: str, scheme: Literal["light", "dark"]) -> State:
    def shot(served: Served, browser: Browser, file: Path) -> None:
        width, height, touch = SIZES[size]
        with opened(served, browser, f"?{HALE}", width, height, scheme, touch) as page:
            piece_on(page)
            shoot(page, file)

    return shot


for _size in SIZES:
    state(f"review{_size}")(_review(_size, "light"))
    state(f"review{_size}-dark")(_review(_size, "dark"))


@state("outline")
def _outline(served: Served, browser: Browser, file: Path) -> None:
    with opened(served, browser, f"?{HALE}") as page:
        piece_on(page)
        while page.locator(".marks .outward").count() == 0:
            judge(page, "s")
        shoot(page, file)


state("not-seen")(_pressed(with_light, "v"))
state("finding")(_pressed(with_light, "j"))
state("deviations")(_pressed(with_light, "1", "d"))


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


state("reject")(_pressed(piece_on, "t", "r"))
state("keys")(_pressed(piece_on, "?"))
state("dark-room")(_pressed(with_light, "l"))
state("look-only")(_pressed(piece_on, "a", who="who=Guest"))


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
        file_checks(store, shift_checks(next(one.taken_at for one in recall_results(store) if one.taken_at)))
    with opened(served, browser, f"station?{HALE}", height=1800) as page:
        expect(page.get_by_text("ST-1 must not go on")).to_be_visible()
        expect(page.get_by_role("heading", name="Light and sharpness")).to_be_visible()
        shoot(page, file)


@state("in-doubt")
def _in_doubt(served: Served, browser: Browser, file: Path) -> None:
    with closing(served.works.open()) as store:
        tray = suspect_trays(store)[0].tray
    with opened(served, browser, f"?{HALE}&piece={tray}:1") as page:
        piece_on(page)
        shoot(page, file)


if __name__ == "__main__":
    main(sys.argv[1:])
