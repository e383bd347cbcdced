"""Blind rounds, the queue as a table, and access for everybody (axe)."""

import http.client
import re
from contextlib import closing
from pathlib import Path
from typing import Any

import axe_playwright_python
import pytest
from playwright.sync_api import Page, expect

from app.store.database.connection import Store
from app.store.people.blind_rounds import blinds, make_blind, turns
from app.store.people.drawing import Draw, draw_pieces
from app.store.people.verdicts import standing
from tests.pages.conftest import Opened, Served, empty_profile
from tests.pages.desk import judge, piece_on, saved, still

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")


def serious(page: Page) -> list[str]:
    """What axe finds on a page that is serious or worse, once it has run to its end."""
    still(page)
    page.evaluate(AXE)
    # What passes is not asked for: to tell every element of it takes most of the time.
    found: list[dict[str, Any]] = page.evaluate(
        "axe.run(document, {resultTypes: ['violations']}).then((found) => found.violations)"
    )
    return [
        f"{one['id']}: {node['html'][:200]}"
        for one in found
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]


def test_a_blind_round_hides_the_camera_and_goes_on_where_it_stopped(open_page: Opened, store: Store) -> None:
    page = open_page("blind?who=R.+Hale")
    page.get_by_label("Name", exact=True).fill("first round")
    page.get_by_label("How many pieces").fill("3")
    page.get_by_role("button", name="Begin").click()
    assert piece_on(page) == "1"  # the round just begun is chosen
    expect(page.locator(".head")).not_to_contain_text("T-0")
    expect(page.locator(".progress")).to_have_text("0 of 6 seen")
    expect(page.locator(".sign")).to_have_text("blind")
    assert page.locator(".findings button").count() == 0
    blind = next(one for one in blinds(store) if one.name == "first round")
    order = turns(blind, "R. Hale")
    seen = [judge(page, "a"), judge(page, "r", "6", "r")]
    saved(page)
    page.keyboard.press("u")
    expect(page.locator(".desk")).to_have_attribute("data-piece", seen[1])
    judge(page, "a")
    saved(page)
    assert {one.verdict for one in standing(store, "R. Hale", blind="first round")} == {"accept"}

    page = open_page("blind?who=R.+Hale&round=first+round")
    assert piece_on(page) == "3"
    expect(page.locator(".progress")).to_have_text("2 of 6 seen")
    for _ in range(3):
        judge(page, "a")
    page.keyboard.press("a")
    expect(page.locator(".empty-state")).to_contain_text("You have seen all pieces")
    saved(page)
    given = standing(store, "R. Hale", blind="first round")
    assert [(one.piece_id, one.round) for one in given] == [(one.piece_id, one.turn) for one in order]
    page.get_by_role("button", name="how the round stands").click()
    expect(page.get_by_text("begun by R. Hale")).to_be_visible()
    expect(page.get_by_text("Camera against each person").first).to_be_visible()
    assert serious(page) == []


def test_the_queue_lists_what_waits(open_page: Opened) -> None:
    page = open_page("queue?who=M.+Okafor")
    expect(page.get_by_text("pieces wait")).to_be_visible()
    expect(page.locator(".stDataFrame")).to_be_visible()
    assert serious(page) == []


def test_without_a_name_the_page_says_what_to_do(open_page: Opened) -> None:
    page = open_page()
    expect(page.get_by_text("Choose your name above to begin")).to_be_visible()
    assert serious(page) == []
    page.get_by_role("combobox", name="Who are you?").click()
    page.get_by_role("option", name="M. Okafor").click()
    piece_on(page)
    expect(page).to_have_url(re.compile(r"who=M\.\+Okafor"))


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (2560, 1440)])
def test_the_bench_is_for_everybody(open_page: Opened, width: int, height: int) -> None:
    page = open_page("?who=M.+Okafor", width, height)
    piece_on(page)
    assert serious(page) == []
    inside = page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    assert inside
    for key in ("l", "t", "d", "?", "r"):
        page.keyboard.press(key)
    expect(page.locator(".keys")).to_be_visible()
    expect(page.locator(".chooser")).to_be_visible()
    assert serious(page) == []


def test_an_empty_queue_says_what_to_do_next(open_page: Opened, store: Store) -> None:
    page = open_page("?who=M.+Okafor")
    piece_on(page)
    page.get_by_role("button", name="Which pieces").click()
    page.get_by_role("combobox", name="Class").click()
    page.get_by_role("option", name="minor").click()
    page.get_by_role("combobox", name="Reason").click()
    page.get_by_role("option", name="outward deviation").click()
    expect(page.locator(".empty-state")).to_contain_text("Widen the choice above")
    make_blind(store, "spare", 1, 1, draw_pieces(store, Draw(None, 4, 1)), "R. Hale")


def test_a_profile_used_again_has_nothing_stored(open_page: Opened, served: Served) -> None:
    page = open_page("_stcore/health")
    page.evaluate("localStorage.setItem('left', '1'); document.cookie = 'left=1'")
    context = page.context
    empty_profile(context, served.url)
    (stays,) = context.pages
    assert stays.evaluate("[localStorage.length, document.cookie]") == [0, ""]


def test_other_hosts_are_turned_away(served: Served) -> None:
    for path in ("/", "/desk/frame/1/1.jpg", "/_stcore/health"):
        for host, status in (("evil.example", 400), (f"127.0.0.1:{served.port}", None)):
            with closing(http.client.HTTPConnection("127.0.0.1", served.port, timeout=20)) as connection:
                connection.request("GET", path, headers={"Host": host})
                found = connection.getresponse().status
            assert (found == 400) == (status == 400), (path, host, found)
