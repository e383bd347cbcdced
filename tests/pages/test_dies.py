"""The page of dies: wear of each, and the pieces of a place where marks come back."""

import re
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from playwright.sync_api import expect

from app.store.database.connection import Store
from app.store.results.filing import file_result
from tests.pages.conftest import Opened, Served, choose
from tests.pages.test_other_pages import serious
from tests.store.made import PART, made_piece, made_tray, to_file
from vision.formats.profiles import Profile

PART_NAME = "AS-150"


@pytest.fixture
def store(served: Served) -> Iterator[Store]:
    """A part of its own: two dies over 200,000 strokes, of which D1 wears."""
    opened = served.works.open()
    rng = np.random.default_rng(3)
    s_mm = np.arange(0.0, 300.0, 0.25)
    for k in range(24):
        die, strokes = ("D1", "D2")[k % 2], 10_000.0 * (k // 2)
        wear = 4e-7 * strokes if die == "D1" else 0.0
        # Less bad than the pieces of the works, so that those stay first in everybody's queue.
        pieces = [made_piece(1, "reject", 0.19), made_piece(2, "pass")]
        tray = made_tray(f"T-7{k:02}", pieces, "L-7", f"2026-10-{k + 1:02}T06:00:00+00:00")
        tray = replace(tray, part=PART_NAME, process={"die": die, "strokes": strokes})
        profiles = {n: Profile(s_mm, wear + rng.normal(0.0, 0.002) + rng.normal(0.0, 0.001, len(s_mm))) for n in (1, 2)}
        drawing = replace(PART, part=PART_NAME)
        file_result(opened, replace(to_file(tray), part=drawing, limits=None, profiles=profiles))
    yield opened
    opened.close()


@pytest.mark.usefixtures("store")
def test_dies_are_followed_and_places_opened(open_page: Opened) -> None:
    page = open_page("dies?who=R.+Hale")
    choose(page, "Part", PART_NAME)
    expect(page.get_by_text("Die D1: no limit is set for this zone")).to_be_visible()
    expect(page.get_by_alt_text("Deviation of die D1 against strokes, with its trend")).to_be_visible()
    expect(page.get_by_alt_text("Wear along the outline, drawn larger")).to_be_visible()
    expect(page.get_by_alt_text("Places where marks come back")).to_be_visible()
    assert serious(page) == []
    choose(page, "Die", "D2")
    expect(page.get_by_text("No place of the outline is worn beyond chance.")).to_be_visible()
    choose(page, "Show the pieces of one place", re.compile("burr"))
    expect(page.get_by_text("T-700, piece 1")).to_be_visible()
