"""Judging where people, servers and files get in the way: nothing lost, nothing twice, nobody gets another's piece."""

import dataclasses
import re
from urllib.parse import urlencode

from playwright.sync_api import expect

from app.store.database.connection import Store
from app.store.people.review_queue import LOAN_S, Holder, claim, in_hand, renew, waiting
from app.store.people.verdicts import standing
from app.store.people.wanted import Wanted
from app.store.results.filing import ToFile, file_result
from tests.pages.conftest import Opened, Served, choose
from tests.pages.desk import DESK, judge, piece_on, prefetched, said, saved, still
from tests.run.waiting import until
from tests.store.made import LIMITS, made_piece, made_tray


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


def test_a_choice_outlives_a_server_that_is_started_anew(open_page: Opened, served: Served) -> None:
    page = open_page("?who=R.+Hale")
    first = piece_on(page)
    page.get_by_role("button", name="Which pieces").click()
    choose(page, "The camera says", "review")
    piece = piece_on(page, but=first)
    page.keyboard.press("Escape")
    page.evaluate(
        """() => {
            window.pieces = new Set();
            const host = [...document.querySelectorAll('*')].find((one) => one.shadowRoot?.querySelector('.desk'));
            const desk = host.shadowRoot.querySelector('.desk');
            new MutationObserver(() => window.pieces.add(desk.dataset.piece)).observe(desk, { attributes: true });
        }"""
    )
    app = page.locator("[data-testid=stApp]")
    served.kill()
    expect(app).not_to_have_attribute("data-test-connection-state", "CONNECTED")
    served.start()
    expect(app).to_have_attribute("data-test-connection-state", "CONNECTED")
    still(page)
    expect(page.get_by_role("button", name="✕ Camera: review")).to_be_visible()
    assert piece_on(page) == piece
    assert page.evaluate("[...window.pieces]") in ([], [piece])


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
    page = open_page("?" + urlencode({"who": "R. Hale", "piece": f"{HOSTILE}:1"}))
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
    queue = open_page("queue?" + urlencode({"who": "R. Hale"}))
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
    page.get_by_role("button", name="✕ Lot: L-2611-77").click()
    expect(page.get_by_role("button", name="✕ Lot: L-2611-77")).to_have_count(0)
    expect(page.locator(DESK)).not_to_have_attribute("data-piece", "A-1:1")
    page.get_by_role("link", name="Lots").click()
    expect(page.locator(DESK)).to_have_count(0)
    until(lambda: in_hand(store, held, Wanted()) == {}, LOAN_S / 2.0)  # before it ends by itself


def test_pieces_that_come_after_the_page_was_left_are_given_back(open_page: Opened, store: Store) -> None:
    page = open_page("?who=R.+Hale")
    piece_on(page)
    saved(page)
    page.evaluate(
        """() => {
            const send = window.fetch;
            window.fetch = async (path, more) => {
                if (`${path}`.endsWith("/desk/next")) {
                    window.calls = (window.calls ?? 0) + 1;
                    await new Promise((done) => setTimeout(done, 2500));
                    return send(path, more).finally(() => (window.answered = (window.answered ?? 0) + 1));
                }
                return send(path, more);
            };
        }"""
    )
    for _ in range(6):
        judge(page, "a")
    page.wait_for_function("window.calls > 0")
    page.get_by_role("link", name="Lots").click()
    expect(page.locator(DESK)).to_have_count(0)
    page.wait_for_function("window.answered === window.calls")
    until(lambda: in_hand(store, Holder("nobody", "nobody"), Wanted()) == {}, LOAN_S / 2.0)  # before it ends by itself


def test_who_may_only_look_can_not_judge(open_page: Opened, store: Store) -> None:
    page = open_page("?who=Guest")
    piece_on(page)
    page.keyboard.press("a")
    expect(page.locator(".last")).to_have_text("You may look, but not judge.")
    assert said(store, "Guest") == {}
