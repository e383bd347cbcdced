"""The review page in a real browser: by keyboard alone, nothing lost, nothing twice, nobody gets another's piece."""

import dataclasses
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from app.store.database.connection import Store
from app.store.people.review_queue import Holder, claim, in_hand, renew, waiting
from app.store.people.verdicts import Standing, standing
from app.store.people.wanted import Wanted
from app.store.results.filing import ToFile, file_result
from tests.pages.conftest import SMALL_LOT, Opened, Served, choose
from tests.store.made import LIMITS, made_piece, made_tray

DESK = ".desk"


@pytest.fixture
def store(served: Served) -> Iterator[Store]:
    """The store behind the pages."""
    opened = served.works.open()
    yield opened
    opened.close()


def piece_on(page: Page, but: str = "") -> str:
    """The piece on the screen, once its picture has stood long enough to be judged and it is another than `but`."""
    page.wait_for_function(
        """(but) => {
            const host = [...document.querySelectorAll('*')].find((one) => one.shadowRoot?.querySelector('.desk'));
            const desk = host?.shadowRoot.querySelector('.desk');
            const stage = desk?.querySelector('.stage');
            return desk?.dataset.piece && desk.dataset.piece !== but && stage.dataset.shown && stage.dataset.stands;
        }""",
        arg=but,
    )
    return str(page.locator(DESK).get_attribute("data-piece"))


def judge(page: Page, *keys: str) -> str:
    """Press keys that judge the piece on the screen; its name, once the next one is there."""
    piece = piece_on(page)
    for key in keys:
        page.keyboard.press(key)
    piece_on(page, but=piece)
    return piece


def prefetched(page: Page) -> None:
    """Wait until the pictures of the next dozen pieces are there."""
    page.wait_for_function(
        "() => performance.getEntriesByType('resource').filter((one) => one.name.includes('/desk/frame/')).length > 14"
    )
    page.wait_for_load_state("networkidle")


def saved(page: Page) -> None:
    """Wait until the store has every verdict."""
    expect(page.locator(DESK)).to_have_attribute("data-unsent", "0")


def said(store: Store, inspector: str) -> dict[str, Standing]:
    """What stands of one person outside blind rounds, by piece."""
    return {f"{one.tray}:{one.piece}": one for one in standing(store, inspector) if one.blind is None}


def test_ten_pieces_by_keyboard_one_taken_back_and_on_after_closing(open_page: Opened, store: Store) -> None:
    page = open_page("?who=R.+Hale")
    expected: dict[str, tuple[str, tuple[str, ...]]] = {}
    for number in range(10):
        if number % 3:
            expected[judge(page, "a")] = ("accept", ())
        else:
            expected[judge(page, "r", "7", "r")] = ("reject", ("burr", "scratch", "pit"))
    last = list(expected)[-1]
    page.keyboard.press("u")
    expect(page.locator(DESK)).to_have_attribute("data-piece", last)
    page.keyboard.press("n")
    page.keyboard.type("rim, r and a are letters here")
    page.keyboard.press("Enter")
    assert judge(page, "a") == last
    expected[last] = ("accept", ())
    saved(page)
    next_one = piece_on(page)
    page.close(run_before_unload=True)

    page = open_page("?who=R.+Hale")
    assert piece_on(page) == next_one
    expected[judge(page, "a")] = ("accept", ())
    saved(page)
    found = said(store, "R. Hale")
    assert {piece: (one.verdict, one.defects) for piece, one in found.items()} == expected
    assert found[last].note == "rim, r and a are letters here"


PRESS = """async ([key, times, gap_ms]) => {
    for (let k = 0; k < times; k += 1) {
        window.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
        await new Promise((done) => setTimeout(done, gap_ms));
    }
}"""


def test_a_double_tap_judges_no_piece_that_nobody_saw(open_page: Opened, store: Store) -> None:
    page = open_page("?who=M.+Okafor")
    piece_on(page)
    prefetched(page)
    before = set(said(store, "M. Okafor"))
    seen = set()
    for gap_ms in (30, 90, 150, 200):
        seen.add(piece_on(page))
        page.evaluate(PRESS, ["a", 2, gap_ms])
        expect(page.locator(".last")).to_contain_text("nothing was recorded")
        piece_on(page)
    seen.add(piece_on(page))
    page.evaluate(PRESS, ["r", 3, 40])  # begun, confirmed, and once too often
    expect(page.locator(".chooser")).to_be_hidden()
    saved(page)
    assert set(said(store, "M. Okafor")) - before == seen


def test_keys_a_third_of_a_second_apart_all_arrive_and_a_held_key_counts_once(open_page: Opened, store: Store) -> None:
    page = open_page("?who=M.+Okafor")
    piece_on(page)
    prefetched(page)
    before = set(said(store, "M. Okafor"))
    page.evaluate(PRESS, ["a", 8, 330])
    saved(page)
    assert len(set(said(store, "M. Okafor")) - before) == 8
    piece_on(page)
    page.keyboard.down("a")
    for _ in range(8):
        page.keyboard.down("a")  # the browser marks these as repeats
    page.keyboard.up("a")
    saved(page)
    assert len(set(said(store, "M. Okafor")) - before) == 9


def test_another_key_while_a_reject_is_begun_accepts_nothing(open_page: Opened, store: Store) -> None:
    page = open_page("?who=R.+Hale")
    piece = piece_on(page)
    before = set(said(store, "R. Hale"))
    page.keyboard.press("r")
    page.keyboard.press("a")
    expect(page.locator(".last")).to_contain_text("A reject is begun")
    assert page.locator(DESK).get_attribute("data-piece") == piece
    page.keyboard.press("Escape")
    saved(page)
    assert set(said(store, "R. Hale")) == before


def test_one_of_the_last_five_verdicts_is_taken_back(open_page: Opened, store: Store) -> None:
    page = open_page("?who=R.+Hale")
    judged = [judge(page, "a") for _ in range(3)]
    strip = page.locator(".recent button")
    assert 3 <= strip.count() <= 5
    page.keyboard.press("b")
    expect(strip.first.locator("kbd")).to_have_text("1")
    page.keyboard.press("2")
    expect(page.locator(DESK)).to_have_attribute("data-piece", judged[1])
    saved(page)
    assert judged[1] not in said(store, "R. Hale")
    judge(page, "a")
    strip.nth(1).click()
    expect(page.locator(DESK)).to_have_attribute("data-piece", judged[2])
    judge(page, "a")
    saved(page)
    assert set(judged) <= set(said(store, "R. Hale"))


def test_two_at_once_never_get_the_same_piece(open_page: Opened, store: Store) -> None:
    before = {one.uid for one in standing(store)}
    pages = {name: open_page(f"?who={name.replace(' ', '+')}") for name in ("R. Hale", "M. Okafor")}
    judged: dict[str, list[str]] = {name: [] for name in pages}
    for _ in range(4):
        for name, page in pages.items():
            judged[name].append(judge(page, "a"))
    for page in pages.values():
        saved(page)
    assert not set(judged["R. Hale"]) & set(judged["M. Okafor"])
    new = [(one.inspector, f"{one.tray}:{one.piece}") for one in standing(store) if one.uid not in before]
    assert sorted(new) == sorted((name, piece) for name, pieces in judged.items() for piece in pieces)


def test_a_killed_server_loses_nothing(open_page: Opened, served: Served, store: Store) -> None:
    page = open_page("?who=R.+Hale")
    pieces = [judge(page, "a")]
    saved(page)
    prefetched(page)
    served.kill()
    pieces += [judge(page, "a"), judge(page, "r", "r")]
    expect(page.locator(".saved")).to_contain_text("2 not saved yet")
    assert set(pieces[1:]).isdisjoint(said(store, "R. Hale"))
    served.start()
    saved(page)
    pieces.append(judge(page, "a"))
    saved(page)
    found = said(store, "R. Hale")
    assert [found[piece].verdict for piece in pieces] == ["accept", "accept", "reject", "accept"]


def test_unsent_verdicts_outlive_the_page(open_page: Opened, served: Served, store: Store) -> None:
    page = open_page("?who=R.+Hale")
    piece_on(page)
    page.context.route("**/desk/verdicts", lambda route: route.abort())
    piece = judge(page, "a")
    expect(page.locator(".saved")).to_contain_text("1 not saved yet")
    other = page.context.new_page()
    page.context.unroute("**/desk/verdicts")
    page.close()
    other.goto(f"{served.url}/?who=R.+Hale")
    piece_on(other)
    saved(other)
    assert piece in said(store, "R. Hale")


def test_views_zoom_and_places_by_key(open_page: Opened) -> None:
    page = open_page("?who=R.+Hale")
    piece = piece_on(page)
    stage = page.locator(".stage")
    page.keyboard.press("3")
    expect(page.locator(".frame img")).to_have_attribute("alt", f"{piece.replace(':', ', piece ')}, low 0°")
    page.keyboard.press("f")
    expect(page.get_by_role("button", name="F flicker")).to_have_attribute("aria-pressed", "true")
    expect(page.get_by_role("button", name="1 backlit")).to_have_attribute("aria-pressed", "true")
    page.keyboard.press("f")
    page.keyboard.press("+")
    assert stage.get_attribute("data-zoom") == "1.250"
    judge(page, "a")
    expect(stage).to_have_attribute("data-zoom", "1.000")
    page.keyboard.press("d")
    expect(page.locator(".marks .outward")).to_have_count(0)
    page.keyboard.press("d")
    expect(page.locator(".marks .outward")).to_have_count(1)
    expect(page.locator(".magnified")).to_contain_text("times larger")
    page.keyboard.press("t")
    expect(page.locator(".tray-picture circle")).to_have_count(4)
    page.keyboard.press("m")
    box = stage.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 300, box["y"] + 100)
    page.mouse.down()
    page.mouse.move(box["x"] + 400, box["y"] + 100)
    page.mouse.up()
    scale = float(
        page.locator(".stage .bar").evaluate("(bar) => parseFloat(bar.style.width) / parseFloat(bar.textContent)")
    )
    expect(page.locator(".ruler-words")).to_have_text(f"{100 / scale:.2f} mm")
    page.keyboard.press("u")
    saved(page)


def test_a_link_opens_just_one_piece_though_another_has_it(open_page: Opened, store: Store) -> None:
    first = open_page("?who=R.+Hale")
    piece = piece_on(first)
    second = open_page(f"?who=M.+Okafor&piece={piece}")
    assert piece_on(second) == piece
    expect(second.locator(".reasons")).to_contain_text("R. Hale has this piece open too")
    second.keyboard.press("a")
    expect(second.locator(".empty-state")).to_contain_text("Recorded")
    saved(second)
    judge(first, "r", "r")
    saved(first)
    assert said(store, "M. Okafor")[piece].verdict == "accept"
    assert said(store, "R. Hale")[piece].verdict == "reject"
    nowhere = open_page("?who=R.+Hale&piece=T-0:77")
    expect(nowhere.locator(".empty-state")).to_contain_text("There is no piece T-0:77")


HOSTILE = "<img src=x onerror=window.hurt=1>‮gnirts‬../../" + "x" * 300


def test_hostile_names_and_missing_pictures_are_shown_and_harm_nothing(open_page: Opened, store: Store) -> None:
    tray = made_tray(HOSTILE, [made_piece(1, "reject")], lot=HOSTILE, die=HOSTILE)
    gone = ToFile(dataclasses.replace(tray, process={**tray.process, HOSTILE: "x"}), limits=LIMITS)
    file_result(store, gone)
    page = open_page("?" + _query(who="R. Hale", piece=f"{HOSTILE}:1"))
    expect(page.locator(".who")).to_contain_text("<img src=x")
    expect(page.locator(".stage-words")).to_contain_text("No picture of this piece")
    assert page.evaluate("window.hurt") is None
    box = page.locator(DESK).bounding_box()
    assert box is not None
    assert box["width"] <= 1280
    piece_on(page)
    page.keyboard.press("a")
    saved(page)
    assert f"{HOSTILE}:1" in said(store, "R. Hale")
    queue = open_page("queue?" + _query(who="R. Hale"))
    expect(queue.get_by_text("pieces wait")).to_be_visible()
    assert queue.evaluate("window.hurt") is None


def test_a_tray_deleted_from_the_disk_is_said_and_can_still_be_judged(
    open_page: Opened, served: Served, store: Store
) -> None:
    moved = served.works.shots / "S-1"
    moved.rename(served.works.shots / "away")
    try:
        page = open_page("?who=R.+Hale&piece=T-000002:1", new=True)  # a picture seen before would be shown
        piece_on(page)
        expect(page.locator(".stage-words")).to_contain_text(
            "back.png: this picture is missing; it was moved or deleted"
        )
        page.keyboard.press("a")
        saved(page)
    finally:
        (served.works.shots / "away").rename(moved)
    assert said(store, "R. Hale")["T-000002:1"].verdict == "accept"


def test_what_a_page_had_in_hand_is_free_once_it_is_left_and_what_others_have_can_be_taken_over(
    open_page: Opened, store: Store
) -> None:
    alone = Wanted(lot="L-2611-77")
    tray = made_tray("A-1", [made_piece(1, "reject", 0.16)], lot=alone.lot)
    file_result(store, ToFile(tray, limits=LIMITS))
    held = Holder("another", "M. Okafor")
    assert len(claim(store, held, alone, 1)) == 1
    page = open_page("?who=R.+Hale")
    piece_on(page)
    page.get_by_role("button", name="Which pieces").click()
    choose(page, "Lot", re.compile("L-2611-77"))
    expect(page.locator(".empty-state")).to_contain_text("1 wait, all in hand of M. Okafor.")
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    page.get_by_role("button", name="take over").click()
    expect(page.locator(DESK)).to_have_attribute("data-piece", "A-1:1")
    assert renew(store, held, [one.piece_id for one in waiting(store, alone, 1)]).popitem()[1] == "R. Hale"
    page.get_by_role("button", name="Lot: L-2611-77 ✕").click()
    expect(page.get_by_role("button", name="Lot: L-2611-77 ✕")).to_have_count(0)
    expect(page.locator(DESK)).not_to_have_attribute("data-piece", "A-1:1")
    page.get_by_role("link", name="Lots").click()
    expect(page.locator(DESK)).to_have_count(0)
    for _ in range(100):
        if in_hand(store, held, Wanted()) == {}:
            break
        page.wait_for_timeout(50)
    assert in_hand(store, held, Wanted()) == {}


def test_put_off_pieces_come_again_at_the_end(open_page: Opened, store: Store) -> None:
    page = open_page("?who=R.+Hale")
    piece_on(page)
    page.get_by_role("button", name="Which pieces").click()
    page.get_by_role("combobox", name="Lot").click()
    page.get_by_role("option", name=SMALL_LOT).click()
    expect(page.locator(".who")).to_contain_text("Tray L-")
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    first = judge(page, "s")
    others = {judge(page, "a"), judge(page, "a")}
    assert piece_on(page) == first
    page.keyboard.press("a")
    expect(page.locator(".empty-state")).to_contain_text("Widen the choice above")
    saved(page)
    assert {first, *others} <= set(said(store, "R. Hale"))


def test_who_may_only_look_can_not_judge(open_page: Opened, store: Store) -> None:
    page = open_page("?who=Guest")
    piece_on(page)
    page.keyboard.press("a")
    expect(page.locator(".last")).to_have_text("You may look, but not judge.")
    assert said(store, "Guest") == {}


def _query(**values: str) -> str:
    from urllib.parse import urlencode

    return urlencode(values)
