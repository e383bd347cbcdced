"""How quick the review page is in a real browser: python -m tests.speed.page_speed [TRAYS] (three pieces of each wait).

Keys half a second apart, as a person who looks; the times that the viewer itself measured, from the key to the frame
after the one that drew the next piece with its close-up. Then the first piece, from the address to the picture, in a
profile that knows the page and lies on a disk, as a bench's own browser has it: scripts are kept compiled there.
Figures for docs/benchmarks/store.md.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, BrowserType, sync_playwright

from tests.pages.conftest import CHROMIUM, CHROMIUM_FLAGS, Served
from tests.pages.desk import judge, piece_on
from tests.pages.made_works import made_works

TRAYS = 2000
KEYS = 100
BETWEEN_KEYS_MS = 250  # after the quarter of a second that a piece must stand
OPENED = 5
SHOWN = """() => [...document.querySelectorAll('*')].some(
    (one) => one.shadowRoot?.querySelector('.stage')?.dataset.shown)"""


def main(trays: int) -> None:
    """Make a works, serve it, judge."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        served = Served(made_works(Path(folder) / "works", trays), Path(folder) / "serve.log")
        served.start()
        browser = playwright.chromium.launch(executable_path=CHROMIUM, chromium_sandbox=False, args=CHROMIUM_FLAGS)
        try:
            switches = sorted(_switches(browser, f"{served.url}/?who=R.+Hale"))
            first = _first(playwright.chromium, Path(folder) / "profile", f"{served.url}/?who=R.+Hale")
        finally:
            served.stop()
    print(f"{3 * trays} pieces wait; medians in ms")
    print(f"a key to the next piece, close-up included: {statistics.median(switches):.0f}")
    print(f"the same, 95 % of {len(switches)} keys within: {switches[int(0.95 * len(switches))]:.0f}")
    print(f"an address to the first piece: {statistics.median(first):.0f}, longest {max(first):.0f}")


def _switches(browser: Browser, address: str) -> list[float]:
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.goto(address)
    times = []
    for number in range(KEYS):
        judge(page, "r" if number % 5 == 0 else "a", *(["r"] if number % 5 == 0 else []))
        page.wait_for_timeout(BETWEEN_KEYS_MS)
        times.append(float(page.locator(".desk").get_attribute("data-switch-ms") or "nan"))
    page.goto("about:blank")
    page.close()
    return times


def _first(chromium: BrowserType, profile: Path, address: str) -> list[float]:
    context = chromium.launch_persistent_context(
        profile,
        executable_path=CHROMIUM,
        chromium_sandbox=False,
        args=CHROMIUM_FLAGS,
        viewport={"width": 1280, "height": 720},
    )
    times = []
    for _ in range(OPENED + 1):
        page = context.new_page()
        begun = time.perf_counter()
        page.goto(address, wait_until="commit")
        page.wait_for_function(SHOWN)
        times.append(1000.0 * (time.perf_counter() - begun))
        piece_on(page)
        page.goto("about:blank")
        page.close()
    context.close()
    return times[1:]  # the first one loads the page's own scripts


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else TRAYS)
