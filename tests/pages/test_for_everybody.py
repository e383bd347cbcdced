"""Every page for everybody (axe), in light and dark, at 100 and 200 %; by hand (`pytest -m long`)."""

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.pages.conftest import PAGE_WAIT_MS, Opened, Served
from tests.pages.desk import piece_on
from tests.pages.test_other_pages import serious

PAGES = (
    *("", "queue", "blind", "lots", "dies", "station"),
    *("agreement", "tuning", "gauge"),
    *("first-steps", "new-part"),
)
DRAWN = '[data-testid="stApp"][data-test-script-state="notRunning"] .st-key-head'
HEAD_PX = 40
STANDS_MS = 1000  # a page whose report comes from beside draws itself once more


def drawn(page: Page, path: str) -> None:
    """Wait until a page that was opened stands still."""
    if not path:
        piece_on(page)
    expect(page.locator(DRAWN)).to_be_visible()
    page.wait_for_timeout(STANDS_MS)
    expect(page.locator(DRAWN)).to_be_visible()


@pytest.mark.long
@pytest.mark.parametrize("zoom", [1, 2])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_keeps_anybody_out(served: Served, browser: Browser, scheme: str, zoom: int) -> None:
    """At 200 % a browser lays a page out in half the room."""
    context = browser.new_context(
        viewport={"width": 1280 // zoom, "height": 800 // zoom},
        device_scale_factor=zoom,
        color_scheme="dark" if scheme == "dark" else "light",
    )
    context.set_default_timeout(PAGE_WAIT_MS)
    found = {}
    for path in PAGES:
        page = context.new_page()
        page.goto(f"{served.url}/{path}?who=R.+Hale")
        drawn(page, path)
        found[path] = serious(page)
        page.goto("about:blank")
        page.close()
    context.close()
    assert {path: wrong for path, wrong in found.items() if wrong} == {}


@pytest.mark.parametrize("path", ["", "lots", "tuning", "gauge"])
def test_pages_choices_and_name_are_in_one_line(open_page: Opened, path: str) -> None:
    page = open_page(f"{path}?who=R.+Hale")
    drawn(page, path)
    box = page.locator(".st-key-head").bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= HEAD_PX
    links = page.get_by_role("link", name="New part").bounding_box()
    assert links is not None
    assert links["x"] + links["width"] <= box["x"]
