"""Drills of the bench, by hand (`pytest -m long`): what a shift and a bad day do to verdicts."""

import random
import threading
import time
from collections import Counter
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page
from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store
from tests.pages.conftest import Opened, Served
from tests.pages.desk import DESK, piece_on, saved
from tests.pages.made_works import made_works

pytestmark = pytest.mark.long
KILLS = 60
SHIFT = 200
EVERY_S = 1.0
TRAYS = 90  # of four pieces, three of them flagged: as many as both drills judge, and some


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The pages of a works of their own."""
    folder = tmp_path_factory.mktemp("drills")
    one = Served(made_works(folder / "works", TRAYS), folder / "serve.log")
    one.start()
    yield one
    one.stop()


def filed(store: Store, inspector: str) -> list[tuple[str, str, str]]:
    """Every verdict that was filed: piece, word, and what the camera had said."""
    verdict, piece, tray, judgement = schema.verdict, schema.piece, schema.tray, schema.judgement
    query = (
        select(tray.c.tray, piece.c.piece, verdict.c.verdict, judgement.c.verdict.label("camera"))
        .select_from(verdict)
        .join(piece, piece.c.id == verdict.c.piece_id)
        .join(tray, tray.c.id == piece.c.tray_id)
        .join(judgement, judgement.c.id == verdict.c.judgement_id)
        .where(verdict.c.inspector == inspector)
    )
    with store.read() as connection:
        return [(f"{row.tray}:{row.piece}", row.verdict, row.camera) for row in connection.execute(query)]


def judge_by_the_screen(page: Page, piece: str) -> str:
    """What the sign on the screen says is done: rejects are rejected, what is to be reviewed is accepted."""
    said = page.locator(".sign").inner_text().strip()
    shown = page.locator(".who").inner_text().removeprefix("Tray ").replace(", piece ", ":")
    assert shown == piece
    for key in ("r", "r") if said == "reject" else ("a",):
        page.keyboard.press(key)
    return "reject" if said == "reject" else "accept"


def test_a_shift_at_one_a_second_every_verdict_is_the_one_meant(open_page: Opened, store: Store) -> None:
    page = open_page("?who=M.+Okafor")
    meant: dict[str, str] = {}
    piece = ""
    for _ in range(SHIFT):
        began = time.monotonic()
        piece = piece_on(page, but=piece)
        meant[piece] = judge_by_the_screen(page, piece)
        page.wait_for_timeout(max(0.0, 1000 * (EVERY_S - (time.monotonic() - began))))
    saved(page)
    found = filed(store, "M. Okafor")
    assert len(meant) == SHIFT
    assert sorted((one, word) for one, word, _ in found) == sorted(meant.items())
    assert {(word, camera) for _, word, camera in found} == {("reject", "reject"), ("accept", "review")}


def test_a_server_killed_at_any_moment_files_every_verdict_once(
    open_page: Opened, served: Served, store: Store
) -> None:
    chance = random.Random(24)
    page = open_page("?who=R.+Hale")
    meant: dict[str, str] = {}
    piece = ""
    for _ in range(KILLS):
        piece = piece_on(page, but=piece)
        # Between showing, judging, sending and filing: the key comes within a quarter of a second of the kill.
        killer = threading.Timer(chance.uniform(0.0, 0.25), served.kill)
        killer.start()
        page.wait_for_timeout(chance.uniform(0.0, 250.0))
        meant[piece] = judge_by_the_screen(page, piece)
        killer.join()
        served.start()
        if chance.random() < 0.2:
            page.reload()
            piece = ""
    saved(page)
    found = filed(store, "R. Hale")
    assert Counter(one for one, _, _ in found) == Counter(dict.fromkeys(meant, 1))
    assert {one: word for one, word, _ in found} == meant
    assert page.locator(DESK).get_attribute("data-unsent") == "0"
