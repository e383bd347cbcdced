"""Saying of single findings whether they are marks: by two keys, beside the verdict, which none of it touches."""

from playwright.sync_api import Page, expect

from app.store.database.connection import Store, now
from app.store.people.blind_rounds import make_blind
from app.store.people.drawing import Draw, draw_pieces
from app.store.people.labels import NewLabel, give_label, labels
from app.store.people.looks import second_looks
from app.store.people.questions import drawn_again, questions
from app.store.results.shown import newest_judgement, shown
from tests.pages.conftest import Opened
from tests.pages.desk import DESK, PRESS, piece_on, said, saved

STAND_MS = 300  # a little more than the page wants of it


def a_piece_asked_about(store: Store, number: int) -> tuple[str, int]:
    """A piece of which findings are asked about that people are not told of: its name, and its judgement."""
    found = []
    for tray in range(1, 41):
        name = f"T-{tray:06d}"
        judgement = newest_judgement(store, name, 4)
        assert judgement is not None
        asked = questions(judgement, shown(store, [judgement])[judgement].judged)
        if any(one.because == "sample" for one in asked):
            found.append((f"{name}:4", judgement))
    return found[number]


def said_of(store: Store, judgement: int, inspector: str) -> list[tuple[str, str, str]]:
    """What a person says of findings of a judgement: kind, label, why it was shown."""
    of = [one for one in labels(store) if one.judgement_id == judgement and one.inspector == inspector]
    return [(one.kind, one.label, one.shown_because) for one in of]


def press(page: Page, key: str) -> None:
    """Press a key once what is selected has stood long enough."""
    page.wait_for_timeout(STAND_MS)
    page.keyboard.press(key)


def test_findings_and_questions_are_told_marks_or_none_and_taken_back(open_page: Opened, store: Store) -> None:
    name, judgement = a_piece_asked_about(store, 0)
    page = open_page(f"?who=R.+Hale&piece={name}")
    piece_on(page)
    before = set(said(store, "R. Hale"))
    questions_shown = page.locator(".line.question")
    assert questions_shown.count() in (1, 2)
    expect(page.locator(".marks path")).not_to_have_count(0)
    press(page, "j")  # the second reason: the scratch
    press(page, "w")
    expect(page.locator(".last")).to_have_text("scratch: a mark")
    expect(page.locator(".labelled")).to_have_text("1 given")
    expect(questions_shown.first).to_have_attribute("aria-current", "true")  # it goes on by itself
    expect(page.locator(".closeup-words")).to_have_text("A question: is this a mark?")
    expect(page.locator(".marks .here")).not_to_have_count(0)
    expect(page.locator(".marks .flagged.here")).to_have_count(0)
    press(page, "e")
    expect(page.locator(".last")).to_have_text("the place asked about: no mark")
    expect(questions_shown.first).to_contain_text("you say: no mark")
    saved(page)
    assert said_of(store, judgement, "R. Hale") == [("scratch", "mark", "sure"), ("pit", "none", "sample")]
    assert set(said(store, "R. Hale")) == before  # no verdict
    expect(page.locator(DESK)).to_have_attribute("data-piece", name)

    page.reload()
    piece_on(page)
    expect(questions_shown.first).to_contain_text("you say: no mark")
    expect(page.locator(".labelled")).to_have_text("2 given")
    questions_shown.first.click()
    press(page, "e")
    expect(page.locator(".last")).to_have_text("the place asked about: taken back")
    saved(page)
    assert said_of(store, judgement, "R. Hale") == [("scratch", "mark", "sure")]
    page.wait_for_timeout(STAND_MS)
    page.get_by_role("button", name="W a mark").click()  # as the key does
    expect(questions_shown.first).to_contain_text("you say: a mark")
    saved(page)
    assert said_of(store, judgement, "R. Hale") == [("scratch", "mark", "sure"), ("pit", "mark", "sample")]


def test_a_double_tap_says_nothing_of_what_nobody_saw(open_page: Opened, store: Store) -> None:
    name, judgement = a_piece_asked_about(store, 1)
    page = open_page(f"?who=R.+Hale&piece={name}")
    piece_on(page)
    press(page, "w")  # the first reason is the outline's
    expect(page.locator(".last")).to_contain_text("Nothing here can be told a mark or none")
    press(page, "j")
    page.wait_for_timeout(STAND_MS)
    page.evaluate(PRESS, ["w", 2, 0])
    expect(page.locator(".last")).to_contain_text("came only now")
    saved(page)
    assert said_of(store, judgement, "R. Hale") == [("scratch", "mark", "sure")]


def test_who_may_only_look_says_nothing(open_page: Opened, store: Store) -> None:
    name, judgement = a_piece_asked_about(store, 2)
    page = open_page(f"?who=Guest&piece={name}")
    piece_on(page)
    press(page, "j")
    press(page, "w")
    expect(page.locator(".last")).to_have_text("You may look, but not judge.")
    saved(page)
    assert said_of(store, judgement, "Guest") == []


def test_a_verdict_is_given_while_a_label_waits(open_page: Opened, store: Store) -> None:
    name, judgement = a_piece_asked_about(store, 3)
    page = open_page(f"?who=M.+Okafor&piece={name}")
    piece_on(page)
    page.route("**/desk/labels", lambda route: route.abort())
    press(page, "j")
    press(page, "e")
    expect(page.locator(".saved")).to_contain_text("1 not saved yet")
    page.keyboard.press("a")
    expect(page.locator(".empty-state")).to_contain_text("Recorded")
    expect(page.locator(DESK)).to_have_attribute("data-unsent", "1")
    assert name in said(store, "M. Okafor")
    page.unroute("**/desk/labels")
    saved(page)
    assert said_of(store, judgement, "M. Okafor") == [("scratch", "none", "sure")]


def test_findings_are_looked_at_a_second_time_without_what_the_camera_said(open_page: Opened, store: Store) -> None:
    asked: dict[int, list[int]] = {}
    for tray in range(1, 41):
        judgement = newest_judgement(store, f"T-{tray:06d}", 2)
        assert judgement is not None
        if drawn_again(judgement):
            judged = shown(store, [judgement])[judgement].judged
            asked[judgement] = [one.finding for one in questions(judgement, judged)][:2]
    assert len(asked) >= 2
    for judgement, findings in asked.items():
        for finding in findings:
            uid = f"before {judgement} {finding}"
            give_label(store, NewLabel(uid, judgement, finding, "mark", "M. Okafor", "declared", now()))
    page = open_page("blind?who=R.+Hale")
    waiting = second_looks(store, "R. Hale")
    page.get_by_role("button", name=f"{len(waiting)} pieces are to be looked at a second time").click()
    first, second = list(waiting)[:2]
    assert piece_on(page) == "1"
    expect(page.locator(".reasons")).to_contain_text("What the camera said is hidden")
    expect(page.locator(".findings .line")).to_have_count(0)
    expect(page.locator(".line.question")).to_have_count(len(waiting[first]))
    press(page, "a")
    expect(page.locator(".last")).to_have_text("Here nothing is judged: W says a mark, E no mark.")
    for _ in waiting[first]:
        press(page, "e")
    expect(page.locator(DESK)).to_have_attribute("data-piece", "2")
    saved(page)
    told = [(kind, label) for kind, label, because in said_of(store, first, "R. Hale") if because == "again"]
    assert len(told) == len(waiting[first])
    assert {label for _, label in told} == {"none"}
    page.keyboard.press("u")
    expect(page.locator(DESK)).to_have_attribute("data-piece", "1")
    expect(page.locator(".line.question").first).to_contain_text("you say: no mark")
    page.keyboard.press("s")
    expect(page.locator(DESK)).to_have_attribute("data-piece", "2")
    assert second not in {row.judgement_id for row in labels(store) if row.inspector == "R. Hale"}
    page.get_by_role("button", name="Back to blind rounds").click()
    expect(page.get_by_role("button", name=f"{len(waiting) - 1} piece")).to_be_visible()


def test_findings_of_a_blind_round_are_looked_at_once_all_of_it_was_judged(open_page: Opened, store: Store) -> None:
    blind = make_blind(store, "looked at", 1, 1, draw_pieces(store, Draw(None, 1, 1)), "R. Hale")
    page = open_page("blind?who=M.+Okafor&round=looked+at")
    assert piece_on(page) == "1"
    expect(page.locator(".labels")).to_be_hidden()
    page.keyboard.press("a")
    saved(page)
    expect(page.locator(".offer")).to_be_visible()
    page.keyboard.press("x")
    page.get_by_role("button", name="1 piece of this round").click()
    piece_on(page)
    press(page, "w")
    saved(page)
    (judgement,) = [judgement for _, judgement in blind.pieces]
    assert [because for *_, because in said_of(store, judgement, "M. Okafor")] == ["blind"]
