"""What tests do at the desk, where pieces are judged: look, judge, wait until all is saved."""

from playwright.sync_api import Page, expect

from app.store.database.connection import Store
from app.store.people.verdicts import Standing, standing

DESK = ".desk"
STAND_MS = 250.0  # nobody has looked at a piece for less (stage.js)
PRESS = """async ([key, times, gap_ms]) => {
    let [before, longest] = [performance.now(), 0];
    for (let k = 0; k < times; k += 1) {
        if (k) await new Promise((done) => setTimeout(done, gap_ms));
        longest = Math.max(longest, performance.now() - before);
        before = performance.now();
        window.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
    }
    return longest;
}"""
"""Presses a key several times; how far apart two of them were at most, ms: on a busy machine more than was asked."""


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


def still(page: Page) -> None:
    """Wait until the page has run to its end."""
    expect(page.locator("[data-testid=stApp]")).to_have_attribute("data-test-script-state", "notRunning")


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
