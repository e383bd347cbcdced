"""The first screen of a piece shows what decides, large and clear; long: of thirty pieces, shared trays too."""

import json
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from app.store.lots.revisions import release
from app.store.people.actor import Acted
from app.store.people.review_queue import waiting_count
from app.store.people.wanted import Wanted
from app.works.folder import Person, Works, new_works
from synthetic_images.demo import render_demo
from tests.pages.conftest import Opened, Served
from tests.pages.desk import DESK, judge, piece_on
from vision.formats.limits import read_limits
from vision.formats.part import read_part

SHARED = Path(__file__).parents[3] / "shared" / "trays"
SHARED_SETS = ("polished", "polished-faint", "outline/crowd", "outline/plain", "outline/noisy", "outline/punched")
MOST_OF_A_SET = 12
BRIGHTBOWL = Path(sys.executable).with_name("brightbowl")
FINISHED = (0, 1)  # all pass; some piece does not
CSS_PX_PER_MM = 96 / 25.4  # CSS Values and Units 3, 5.2: an inch has 96 px
LEAST_MM = 3.0
LEAST_CONTRAST = 60  # of 255 grey levels, ten times what jpeg leaves of a flat place
WANTED = 30
SETTLED_S = 20.0  # for pictures on a busy machine
# What stands out at the place: the finding's darkest or brightest tenth against the middle of what is around it.
CONTRAST = """([x, y, width, height]) => {
    const host = [...document.querySelectorAll('*')].find((one) => one.shadowRoot?.querySelector('.desk'));
    const canvas = host.shadowRoot.querySelector('.closeup canvas');
    const scale = canvas.width / canvas.clientWidth;
    const greys = (share) => {
        const [w, h] = [width, height].map((side) => Math.min(side * share, canvas.clientHeight) * scale);
        const { data } = canvas.getContext('2d').getImageData(x * scale - w / 2, y * scale - h / 2, w, h);
        return Array.from({ length: data.length / 4 }, (_, k) => data[4 * k]).sort((a, b) => a - b);
    };
    const [inside, around] = [greys(1), greys(2)];
    const middle = around[Math.floor(around.length / 2)];
    const tail = Math.floor(inside.length * 0.02);
    return Math.max(middle - inside[tail], inside.at(-1 - tail) - middle);
}"""


def shown(page: Page) -> tuple[float, float]:
    """The deciding place on the screen: its longer side in mm, and how it stands out."""
    box = json.loads(page.locator(".closeup").get_attribute("data-box") or "null")
    pane = page.locator(".closeup").bounding_box()
    assert box is not None
    assert pane is not None
    x, y, width, height = box
    assert x - width / 2 >= 0
    assert x + width / 2 <= pane["width"]
    assert y - height / 2 >= 0
    assert y + height / 2 <= pane["height"]
    return max(width, height) / CSS_PX_PER_MM, float(page.evaluate(CONTRAST, box))


def test_a_piece_opens_on_its_worst_reason_and_j_goes_to_the_next_in_its_own_light(open_page: Opened) -> None:
    page = open_page("?who=R.+Hale", 1280, 720)
    piece_on(page)
    expect(page.locator(".reasons button").first).to_have_class("line reject here")
    expect(page.locator(".closeup-words")).to_have_text(
        re.compile(r"^0\.\d{3} mm on the upper edge, limit 0\.150 mm, sure to 0\.018 mm$")
    )
    expect(page.get_by_role("button", name="1 backlit")).to_have_attribute("aria-pressed", "true")
    expect(page.locator(".marks .outward")).to_have_count(1)
    size_mm, contrast = shown(page)
    assert size_mm >= LEAST_MM
    assert contrast >= LEAST_CONTRAST
    page.keyboard.press("j")
    expect(page.locator(".closeup-words")).to_contain_text("longest scratch 2.05 mm")
    expect(page.locator(".lights [aria-pressed=true]")).to_contain_text("low")
    expect(page.locator(".marks .outward")).to_have_count(0)
    page.get_by_role("button", name="pit, 0.32 mm across").click()
    expect(page.locator(".closeup-words")).to_contain_text("pit, 0.32 mm across")
    page.keyboard.press("+")
    page.keyboard.press("]")
    expect(page.locator(".stages")).to_have_attribute("style", "--brightness: 1.20;")
    judge(page, "s")
    expect(page.locator(".stage")).to_have_attribute("data-zoom", "1.000")
    expect(page.locator(".reasons button").first).to_have_class("line reject here")


def test_the_screen_belongs_to_the_picture_and_a_tall_one_shows_it_upright(open_page: Opened) -> None:
    page = open_page("?who=R.+Hale", 1280, 720)
    piece_on(page)
    for width, height, share in ((1280, 720, 0.6), (1920, 1080, 0.7), (2560, 1440, 0.7)):
        page.set_viewport_size({"width": width, "height": height})
        box, act = page.locator(".stages").bounding_box(), page.locator(".act").bounding_box()
        assert box is not None
        assert act is not None
        assert box["width"] * box["height"] >= share * width * height
        assert box["y"] <= 44
        assert act["y"] + act["height"] <= height
        assert page.evaluate("document.scrollingElement.scrollHeight") <= height
    page.set_viewport_size({"width": 820, "height": 1180})
    expect(page.locator(".stages")).to_have_class("stages tall")
    whole, near = page.locator(".frame img").bounding_box(), page.locator(".closeup").bounding_box()
    assert whole is not None
    assert near is not None
    assert whole["height"] > 2 * whole["width"]
    assert near["x"] > whole["x"]


def settled(page: Page) -> tuple[float, float]:
    """What is shown once it stands out: which light shows it best is seen when all pictures are here; else the last."""
    end = time.monotonic() + SETTLED_S
    while (seen := shown(page))[1] < LEAST_CONTRAST and time.monotonic() < end:
        page.wait_for_timeout(50)
    return seen


@dataclass(frozen=True)
class TraySet:
    """Shots with the files that judge them."""

    shots: Path
    files: Path


def tray_sets(folder: Path) -> Iterator[TraySet]:
    """The shared trays, and our own demo's."""
    yield from (TraySet(SHARED / name, SHARED / name) for name in SHARED_SETS if (SHARED / name).is_dir())
    demo = render_demo(folder / "demo", 6)
    yield from (TraySet(line.shots, line.part_file.parent) for line in demo.lines if line.shots.parent.name != "dies")


def judged(trays: TraySet, folder: Path) -> Works:
    """A works of its own with one set of trays, judged by the limits beside them."""
    works = new_works(folder / "works", "Aldermoor", (Person("R. Hale", ("review", "tune", "release"), None),))
    part, station, limits = (trays.files / f"{name}.toml" for name in ("part", "station", "limits"))
    with closing(works.open()) as store:
        release(store, read_limits(limits, read_part(part)), Acted("R. Hale", "declared", "test"))
    files = ["--part", part, "--station", station, "--limits", limits, "--out", works.results / "1"]
    command = [BRIGHTBOWL, "inspect", trays.shots, *files, "--store", works.folder / works.store_address]
    ended = subprocess.run([*map(str, command), "--no-pictures", "--jobs", "2"], check=False)
    assert ended.returncode in FINISHED
    return works


def first_screens(browser: Browser, trays: TraySet, folder: Path) -> Iterator[tuple[str, float, float]]:
    """What each flagged piece of a set opens on, where its reason has a place: mm on the screen, contrast there."""
    works = judged(trays, folder)
    with closing(works.open()) as store:
        flagged = waiting_count(store, Wanted())
    served = Served(works, folder / "serve.log")
    served.start()
    try:
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        page.goto(f"{served.url}/?who=R.+Hale")
        piece = ""
        for _ in range(min(flagged, MOST_OF_A_SET)):
            piece = piece_on(page, but=piece)
            if page.locator(".closeup").is_visible():
                yield f"{trays.shots.name} {piece}: {page.locator('.closeup-words').inner_text()}", *settled(page)
            page.locator(DESK).press("s")
        page.close()
    finally:
        served.stop()


@pytest.mark.long
def test_thirty_flagged_pieces_open_on_what_decides(tmp_path: Path, browser: Browser) -> None:
    seen = {}
    for number, trays in enumerate(tray_sets(tmp_path)):
        for piece, size, contrast in first_screens(browser, trays, tmp_path / str(number)):
            print(f"{piece}: {size:.1f} mm, {contrast:.0f} grey levels", flush=True)
            seen[number, piece] = (size, contrast)
    assert len(seen) >= WANTED
    assert {piece: one for piece, one in seen.items() if one[0] < LEAST_MM or one[1] < LEAST_CONTRAST} == {}
