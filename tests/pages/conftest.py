"""A served works and a real browser, shared by all tests of the pages."""

import os
import re
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import (
    Browser,
    BrowserContext,
    Page,
    TimeoutError as PlaywrightTimeout,
    expect,
    sync_playwright,
)

from app.store.database.connection import Store
from app.store.results.filing import ToFile, file_result
from app.works.folder import Works
from tests.loopback import free_port
from tests.pages.made_works import made_works
from tests.store.made import LIMITS, made_piece, made_tray

CHROMIUM = "/usr/bin/chromium"  # Debian's; playwright's own download is not needed
CHROMIUM_FLAGS = [
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--process-per-site",  # pages of one profile share what is loaded and compiled
]
START_WAIT_S = 60.0
PAGE_WAIT_MS = 30_000.0
TRAYS = 40
SMALL_LOT = "L-2611-99"  # three pieces, no pictures
expect.set_options(timeout=PAGE_WAIT_MS)


class Served:
    """A works folder and the server of its pages, which can be killed and started again at the same address."""

    def __init__(self, works: Works, log: Path) -> None:
        self.works = works
        self.log = log
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start the server and wait until it answers."""
        command = [
            str(Path(sys.executable).with_name("brightbowl")),
            "serve",
            "--works",
            str(self.works.folder),
            "--port",
            str(self.port),
        ]
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(command, stdout=log, stderr=log, start_new_session=True)
        end = time.monotonic() + START_WAIT_S
        while time.monotonic() < end:
            if self.process.poll() is not None:
                raise RuntimeError(self.log.read_text())
            try:
                with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=2):
                    return
            except (urllib.error.URLError, OSError):
                time.sleep(0.1)
        raise RuntimeError(self.log.read_text())

    def kill(self) -> None:
        """End the server at once, without a chance to tidy up."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        """End the server."""
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.kill()


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The pages of a works with forty trays."""
    folder = tmp_path_factory.mktemp("pages")
    one = Served(made_works(folder / "works", TRAYS), folder / "serve.log")
    store = one.works.open()
    for number in range(3):
        tray = made_tray(f"L-{number}", [made_piece(1, "reject", 0.18)], lot=SMALL_LOT)
        file_result(store, ToFile(tray, limits=LIMITS))
    store.close()
    one.start()
    yield one
    one.stop()


@pytest.fixture
def store(served: Served) -> Iterator[Store]:
    """The store behind the pages."""
    opened = served.works.open()
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium without a window."""
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, chromium_sandbox=False, args=CHROMIUM_FLAGS)
        yield chromium
        chromium.close()


Opened = Callable[..., Page]


@pytest.fixture(scope="session")
def profiles() -> dict[str, list[BrowserContext]]:
    """Profiles of the browser by the address that they visit, each emptied by the test that used it last."""
    return {}


@pytest.fixture
def open_page(served: Served, browser: Browser, profiles: dict[str, list[BrowserContext]]) -> Iterator[Opened]:
    """Opens an address of the served pages in a profile of its own; what went wrong on any page fails the test.

    Profiles are used again by later tests, each with a bare page that stays: most of what a first page costs is loading
    and compiling Streamlit's scripts, and those a profile keeps as long as a page of the address is open. It keeps the
    pictures that it has seen too; with `new` it has seen none.
    """
    kept = profiles.setdefault(served.url, [])
    spare = iter(list(kept))
    used: list[BrowserContext] = []
    wrong: list[str] = []

    def open_one(path: str = "", width: int = 1280, height: int = 800, *, new: bool = False) -> Page:
        if served.process.poll() is not None:
            served.start()  # a test that kills it failed halfway
        context = None if new else next(spare, None)
        if context is None:
            context = browser.new_context()
            context.new_page().goto(f"{served.url}/_stcore/health")
            kept.append(context)
        used.append(context)
        page = context.new_page()
        page.set_viewport_size({"width": width, "height": height})
        page.set_default_timeout(PAGE_WAIT_MS)
        page.on("pageerror", lambda fault: wrong.append(str(fault)))
        page.on("dialog", lambda dialog: dialog.dismiss())
        page.goto(f"{served.url}/{path}")
        return page

    yield open_one
    for context in used:
        empty_profile(context, served.url)
    assert wrong == []


def empty_profile(context: BrowserContext, url: str) -> None:
    """Close a profile's pages but the one that stays, and take all that they stored under an address."""
    stays, *pages = context.pages
    for page in pages:
        page.goto("about:blank")  # leaving hands the pieces back; closing alone leaves them on loan a while
        page.close()
    context.unroute_all()
    context.clear_cookies()
    stored = {"origin": url, "storageTypes": "cookies,indexeddb,local_storage,service_workers,cache_storage"}
    context.new_cdp_session(stays).send("Storage.clearDataForOrigin", stored)


def choose(page: Page, box: str, option: str | re.Pattern[str]) -> None:
    """Pick an option of a select box; a page that is just being drawn anew may close the list, which opens it again."""
    for _ in range(8):
        page.get_by_role("combobox", name=box, exact=True).click()
        try:
            page.get_by_role("option", name=option).click(timeout=6000)
        except PlaywrightTimeout:
            page.keyboard.press("Escape")
        else:
            return
    raise AssertionError(f"no option {option} in {box}")
