"""The page of lots: figures, pieces of a reason, hold and release."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import expect

from app.store.database.connection import Store
from app.store.lots.decisions import decisions
from app.store.lots.state import lot_state
from app.store.people.actor import Acted
from app.store.people.verdicts import NewVerdict, give
from app.store.results.filing import file_result
from tests.pages.conftest import Opened, Served, choose
from tests.pages.test_other_pages import serious
from tests.store.made import decide, made_piece, made_tray, to_file
from tests.store.test_lot_decisions import sampled_good_lots

LOT = "L-2611-30"


@pytest.fixture
def store(served: Served) -> Iterator[Store]:
    opened = served.works.open()
    # Less bad than the pieces of the works, so that those stay first in everybody's queue.
    pieces = [made_piece(1, "pass"), made_piece(2, "review"), made_piece(3, "reject", 0.19)]
    for k in range(4):
        tray = made_tray(f"T-30{k}", pieces, LOT, f"2026-12-02T06:0{k}:00+00:00", f"D{k % 2}")
        file_result(opened, to_file(tray))
    yield opened
    opened.close()


def test_a_lot_is_looked_at_held_and_released(open_page: Opened, store: Store) -> None:
    page = open_page("lots?who=R.+Hale")
    choose(page, "Lot", re.compile(LOT))
    # other tests of the page may have held a blind round in this store before
    expect(
        page.get_by_text(re.compile("nobody judged, in a blind round|did not know the camera's verdict"))
    ).to_be_visible()
    expect(page.get_by_text("4 of 12")).to_be_visible()
    expect(page.get_by_alt_text("First reasons by number of pieces, with 95 % intervals")).to_be_visible()
    expect(page.get_by_alt_text("Share not passed by die")).to_be_visible()
    expect(page.get_by_text("Kept as R. Hale (declared)")).to_be_visible()
    assert serious(page) == []
    page.get_by_role("button", name="Hold").click()
    expect(page.get_by_text("Say why above")).to_be_visible()
    page.get_by_label("Why", exact=True).fill("burrs at the bowl")
    page.get_by_role("button", name="Release").click()
    expect(page.get_by_text("Nothing was recorded: 4 of its pieces wait for review")).to_be_visible()
    waiting = next(one for one in lot_state(store, LOT).content.pieces if one.verdict == "review")
    given = NewVerdict("seen meanwhile", waiting.piece_id, None, "M. Okafor", "declared", "reject", (), "", "")
    assert give(store, given).outcome == "stored"
    page.get_by_role("button", name="Hold").click()
    expect(page.get_by_text("since then waiting for review 3, was 4")).to_be_visible()
    assert decisions(store, LOT, "TS-135") == ()
    page.get_by_role("button", name="Hold").click()
    expect(page.get_by_text("✗ held")).to_be_visible()
    page.get_by_label("Why", exact=True).fill("sorted by hand")
    page.get_by_text("Waiting pieces stay out of packing").click()
    page.get_by_role("button", name="Release").click()
    expect(page.get_by_text("✓ released")).to_be_visible()
    assert [(one.decision, one.given_by, one.why) for one in decisions(store, LOT, "TS-135")] == [
        ("hold", "R. Hale", "burrs at the bowl"),
        ("release", "R. Hale", "sorted by hand"),
    ]
    choose(page, "Show the pieces of one reason", "outward deviation, bowl")
    expect(page.get_by_text("T-300, piece 3")).to_be_visible()


@pytest.mark.usefixtures("store")
def test_who_may_only_review_takes_no_decision(open_page: Opened) -> None:
    page = open_page("lots?who=M.+Okafor")
    expect(page.get_by_text("Why pieces did not pass")).to_be_visible()
    assert page.get_by_role("button", name="Release").count() == 0


def test_what_came_after_a_release_is_told_and_the_next_inspection_chosen(open_page: Opened, served: Served) -> None:
    opened = served.works.open()
    names = sampled_good_lots(opened, 10)
    before = lot_state(opened, names[-1])
    decide(opened, before.decision("release", Acted("R. Hale", "declared", "all seen")))
    late = made_tray("S-90", [made_piece(1, "pass")], names[-1], "2026-10-02T07:00:00+00:00")
    file_result(opened, to_file(late))
    page = open_page("lots?who=R.+Hale")
    choose(page, "Lot", re.compile(names[-1]))
    expect(page.get_by_text("Released, then more trays came.")).to_be_visible()
    expect(page.get_by_text("Filed since: S-90.")).to_be_visible()
    expect(page.get_by_text("reduced may be begun where production is steady")).to_be_visible()
    assert serious(page) == []
    page.get_by_role("button", name="Next lot reduced").click()
    expect(page.get_by_text("Say why above")).to_be_visible()
    page.get_by_label("Why", exact=True).fill("steady for a month")
    page.get_by_role("button", name="Next lot reduced").click()
    expect(page.get_by_text("The next lot: reduced inspection")).to_be_visible()
    expect(page.get_by_text("next lot reduced by R. Hale (declared)")).to_be_visible()
    expect(page.get_by_role("button", name="Next lot normal")).to_be_visible()
    assert [one.decision for one in decisions(opened, names[-1], "TS-135")] == ["release", "reduced"]
    opened.close()
