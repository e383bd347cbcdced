"""Judging in a real browser by keyboard alone: what each key does, and what none of them does by mistake."""

from playwright.sync_api import expect

from app.store.database.connection import Store
from tests.pages.conftest import SMALL_LOT, Opened
from tests.pages.desk import DESK, PRESS, STAND_MS, judge, piece_on, prefetched, said, saved


def test_ten_pieces_by_keyboard_one_taken_back_and_on_after_closing(open_page: Opened, store: Store) -> None:
    before = set(said(store, "R. Hale"))
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
    assert {piece: (one.verdict, one.defects) for piece, one in found.items() if piece not in before} == expected
    assert found[last].note == "rim, r and a are letters here"


AT_ONCE = """async ([key, times]) => {
    const host = [...document.querySelectorAll('*')].find((one) => one.shadowRoot?.querySelector('.desk'));
    const stage = host.shadowRoot.querySelector('.stage');
    for (let k = 0; k < times; k += 1) {
        while (!stage.dataset.stands) await new Promise((done) => setTimeout(done, 5));
        window.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
    }
}"""


def test_a_double_tap_judges_no_piece_that_nobody_saw(open_page: Opened, store: Store) -> None:
    page = open_page("?who=M.+Okafor")
    piece_on(page)
    prefetched(page)
    before = set(said(store, "M. Okafor"))
    seen, late = set(), 0
    for gap_ms in (30, 90, 150, 200):
        seen.add(piece_on(page))
        if page.evaluate(PRESS, ["a", 2, gap_ms]) < STAND_MS:
            expect(page.locator(".last")).to_contain_text("nothing was recorded")
        else:
            late += 1  # a machine so busy that the piece may have been seen
        piece_on(page)
    seen.add(piece_on(page))
    page.evaluate(PRESS, ["r", 3, 0])  # begun, confirmed, and once too often
    expect(page.locator(".chooser")).to_be_hidden()
    saved(page)
    judged = set(said(store, "M. Okafor")) - before
    assert judged >= seen
    assert len(judged - seen) <= late


def test_keys_as_soon_as_a_piece_has_stood_all_arrive_and_a_held_key_counts_once(
    open_page: Opened, store: Store
) -> None:
    page = open_page("?who=M.+Okafor")
    piece_on(page)
    prefetched(page)
    before = set(said(store, "M. Okafor"))
    page.evaluate(AT_ONCE, ["a", 8])
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
    expect(stage).to_have_attribute("data-zoom", "1.250")
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
