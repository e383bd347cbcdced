"""Photographing a page: at rest, and as a sheet of all sizes, light and dark."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
from playwright.sync_api import Browser, Page, expect

from tests.pages.conftest import Served
from tests.pages.desk import still

PICTURES = Path(__file__).resolve().parent / "pictures"
QUALITY = 72
SHEETS = PICTURES / "sheets"
SHEET_HEIGHT, SHEET_QUALITY = 480, 60  # px of each picture in a sheet
STANDS_MS = 400
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
SIZES = {"": (1280, 720, False), "-large": (2560, 1440, False), "-tablet": (820, 1180, True)}


@contextmanager
def opened(
    served: Served,
    browser: Browser,
    path: str,
    width: int = 1280,
    height: int = 720,
    scheme: Literal["light", "dark"] = "light",
    touch: bool = False,
) -> Iterator[Page]:
    """A page of a browser of its own."""
    size = {"width": width, "height": height}
    context = browser.new_context(viewport=size, color_scheme=scheme, has_touch=touch, is_mobile=touch)
    page = context.new_page()
    page.goto(f"{served.url}/{path}")
    yield page
    page.wait_for_load_state("networkidle")  # a call for pieces still on its way would keep them from the next page
    page.goto("about:blank")
    page.wait_for_timeout(STANDS_MS)  # what the page had on loan is given back as it is left
    context.close()


def shoot(page: Page, file: Path) -> None:
    """Photograph a page at rest."""
    page.wait_for_load_state("networkidle")
    still(page)
    expect(page.get_by_test_id("stSkeleton")).to_have_count(0, timeout=60_000)  # grey bars in place of what is to come
    page.wait_for_timeout(STANDS_MS)
    page.screenshot(path=file, type="jpeg", quality=QUALITY)
    state_of = file.name.removeprefix("page-")
    if not state_of.startswith("review-"):  # the review itself in one size after the other
        cv2.imwrite(str(SHEETS / state_of), sheet_of(page), [cv2.IMWRITE_JPEG_QUALITY, SHEET_QUALITY])


def sheet_of(page: Page) -> np.ndarray:
    """A page as it stands in all sizes, light above dark, each made small."""
    before = page.viewport_size
    assert before is not None
    rows = []
    for scheme in SCHEMES:
        page.emulate_media(color_scheme=scheme)
        row = []
        for width, height, _ in SIZES.values():
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_timeout(STANDS_MS)
            picture = cv2.imdecode(np.frombuffer(page.screenshot(), np.uint8), cv2.IMREAD_COLOR)
            assert picture is not None
            shrink = SHEET_HEIGHT / height
            row.append(cv2.resize(picture, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA))
        rows.append(np.hstack(row))
    page.emulate_media(color_scheme="null")
    page.set_viewport_size(before)
    return np.vstack(rows)
