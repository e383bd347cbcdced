"""The study pages in the real browser: tune and release a limit, look into a disputed piece, take a report along."""

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from playwright.sync_api import expect
from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.lots.revisions import revisions
from app.store.people.verdicts import NewVerdict, give
from app.store.results.filing import PictureFile, ToFile, file_result, kept_path
from app.works.folder import Works, new_works
from tests.pages.conftest import Opened, Served, choose
from tests.pages.desk import piece_on, still
from tests.pages.made_works import LIGHTS, PEOPLE, STATION, draw_shot, frame_name, pose_of
from tests.pages.test_other_pages import serious
from tests.store.made import PART
from tests.studies.lots import LIMITS, sample
from vision.formats import read_judge, shipped_judge, write_judge

TRAYS = 30
SHOTS = 2


def studied_works(folder: Path) -> Works:
    """A works with one lot of pieces that their limits judge as the store says, and two people's verdicts on them."""
    works = new_works(folder, "Aldermoor Flatware Works", PEOPLE)
    for number in range(SHOTS):
        draw_shot(works.shots / f"S-{number}", [pose_of(number, row) for row in range(4)])
    drawn = sample(np.random.default_rng(26), TRAYS)
    store = works.open()
    for number, tray in enumerate(drawn.trays):
        shot = works.shots / f"S-{number % SHOTS}"
        pictures = tuple(
            PictureFile(kept_path(shot / frame_name(light, azimuth), works.folder), "frame", light, azimuth)
            for light, azimuth in LIGHTS
        )
        pieces = tuple(replace(one, pose=pose_of(number % SHOTS, row)) for row, one in enumerate(tray.pieces))
        file_result(store, ToFile(replace(tray, pieces=pieces), pictures, PART, STATION, LIMITS))
    said = standing_pieces(store)
    for place, (key, bad) in enumerate(zip(said, drawn.bad, strict=True)):
        for name in ("R. Hale", "M. Okafor"):
            # the very first piece is one that people see the other way
            verdict: Literal["accept", "reject"] = "reject" if bad != (place == 0) else "accept"
            given = NewVerdict(
                f"study-{key}-{name}", key, None, name, "imported", verdict, (), "", "2026-11-03T06:00:00+00:00"
            )
            assert give(store, given).outcome == "stored"
    store.close()
    return works


def standing_pieces(store: Store) -> list[int]:
    """The ids of all pieces, in the order of filing."""
    with store.read() as connection:
        return list(connection.execute(select(schema.piece.c.id).order_by(schema.piece.c.id)).scalars())


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The pages of a works of their own."""
    folder = tmp_path_factory.mktemp("studies")
    one = Served(studied_works(folder / "works"), folder / "serve.log")
    one.start()
    yield one
    one.stop()


def test_a_disputed_piece_is_a_click_away(open_page: Opened) -> None:
    page = open_page("agreement?who=M.+Okafor")
    expect(page.get_by_text("Camera against each person")).to_be_visible()
    expect(page.get_by_text("fit", exact=False).first).to_be_visible()
    tile = page.get_by_role("link", name="T-000001, piece 1")
    expect(tile).to_be_visible()
    assert serious(page) == []
    tile.click()
    piece_on(page)
    expect(page).to_have_url(re.compile("piece=T-000001"))


def test_the_report_can_be_taken_along(open_page: Opened, tmp_path: Path) -> None:
    page = open_page("agreement?who=M.+Okafor")
    for label, ending in (("Report (HTML)", "html"), ("Report (PDF)", "pdf"), ("Figures (JSON)", "json")):
        with page.expect_download() as waiting:
            page.get_by_role("button", name=label).click()
        waiting.value.save_as(tmp_path / f"study.{ending}")
    assert "Camera against people" in (tmp_path / "study.html").read_text(encoding="utf-8")
    assert (tmp_path / "study.pdf").read_bytes().startswith(b"%PDF")
    assert json.loads((tmp_path / "study.json").read_text(encoding="utf-8"))["format"] == 1


def test_a_limit_is_moved_drafted_and_released(open_page: Opened, store: Store, served: Served) -> None:
    page = open_page("tuning?who=R.+Hale", height=1400)
    expect(page.get_by_text("Pieces that change verdict").first).to_be_visible()
    expect(page.get_by_text("No piece of this lot changes verdict.")).to_be_visible()
    assert serious(page) == []
    before = page.get_by_test_id("stMetricValue").first.inner_text()
    slider = page.get_by_role("slider").first
    expect(page.get_by_text("outward deviation: at most, mm")).to_be_visible()
    slider.focus()
    for _ in range(60):
        page.keyboard.press("ArrowRight")
        # every step is a number that a person would write, not a two-hundredth of whatever range was seen
        assert len((slider.get_attribute("aria-valuetext") or "").partition(".")[2]) <= 3
    expect(page.get_by_text("becomes", exact=False).first).to_be_visible()
    expect(page.get_by_test_id("stMetricValue").first).not_to_have_text(before)

    page.get_by_role("button", name="Write this draft").click()
    expect(page.get_by_text("Draft of revision", exact=False)).to_be_visible()
    page.get_by_text("Release a draft").click()
    page.get_by_label("Why").fill("fewer good spoons scrapped, none missed in lot L-2611-01")
    page.get_by_role("button", name="Release", exact=True).click()
    expect(page.get_by_text("is released by R. Hale", exact=False)).to_be_visible()
    newest = revisions(store, "TS-135")[-1]
    assert (newest.limits.status, newest.released_by) == ("released", "R. Hale")
    assert newest.why is not None
    assert newest.why.startswith("fewer good spoons")
    assert served.works.limits_file("TS-135").is_file()


def test_a_part_s_judge_of_marks_is_taught_put_into_force_and_taken_back(open_page: Opened, served: Served) -> None:
    works = served.works
    page = open_page("tuning?who=R.+Hale", height=1400)
    still(page)
    page.get_by_text("Judge of marks").click()
    expect(page.get_by_text("the one that comes with the program. Labels: 0 of marks")).to_be_visible()
    page.get_by_role("button", name="Teach it by these labels").click()
    expect(page.get_by_text("No draft: 100 labels are needed")).to_be_visible()
    assert works.judge_draft("TS-135").with_suffix(".html").is_file()

    write_judge(replace(shipped_judge(), status="draft", revision=2), works.judge_draft("TS-135"))
    page = open_page("tuning?who=R.+Hale", height=1400)
    still(page)
    page.get_by_text("Judge of marks").click()
    page.get_by_label("Why").last.fill("fewer rims of drops")
    page.get_by_role("button", name="Put the draft into force").click()
    expect(page.get_by_text("Revision 2 judges from now on, by R. Hale")).to_be_visible()
    assert read_judge(works.judge_file("TS-135")).status == "released"
    assert serious(page) == []

    page = open_page("tuning?who=R.+Hale", height=1400)
    still(page)
    page.get_by_text("Judge of marks").click()
    expect(page.get_by_text("the works' own, by R. Hale: fewer rims of drops")).to_be_visible()
    page.get_by_role("button", name="Judge by the program's own again").click()
    expect(page.get_by_text("Say why above")).to_be_visible()
    page.get_by_label("Why").last.fill("lost a scratch")
    page.get_by_role("button", name="Judge by the program's own again").click()
    expect(page.get_by_text("The judge that comes with the program judges again.")).to_be_visible()
    assert not works.judge_file("TS-135").exists()


def test_who_may_only_look_can_write_nothing(open_page: Opened) -> None:
    page = open_page("tuning?who=Guest")
    expect(page.get_by_role("button", name="Write this draft")).to_be_disabled()


def test_a_gauge_table_is_studied_and_a_bad_one_refused(open_page: Opened, tmp_path: Path) -> None:
    rows = [f"{p},{o},{t},{p + 0.1 * o + 0.01 * t}" for p in range(4) for o in range(2) for t in range(2)]
    good, bad = tmp_path / "good.csv", tmp_path / "bad.csv"
    good.write_text("\n".join(["part,operator,trial,value", *rows]), encoding="utf-8")
    bad.write_text("\n".join(["part,operator,trial,value", *rows[:-1]]), encoding="utf-8")
    page = open_page("gauge?who=R.+Hale")
    page.locator("input[type=file]").set_input_files(good)
    expect(page.get_by_text("Distinct categories")).to_be_visible()
    assert serious(page) == []
    page = open_page("gauge?who=R.+Hale")
    page.locator("input[type=file]").set_input_files(bad)
    expect(page.get_by_text("missing: part 3, operator 1, trial 1", exact=False)).to_be_visible()


def test_reference_pieces_are_studied_on_the_page_of_gauges(open_page: Opened, tmp_path: Path) -> None:
    rows = [f"R-{p},{10 * p},0.001,,{10 * p + 0.02 + 0.001 * t}" for p in range(1, 4) for t in range(3)]
    table = tmp_path / "readings.csv"
    table.write_text("\n".join(["piece,reference,reference_u,taken_at,value", *rows]), encoding="utf-8")
    page = open_page("gauge?who=R.+Hale")
    choose(page, "Measurements", "against reference pieces")
    expect(page.get_by_text("Measure pieces of known size", exact=False)).to_be_visible()
    still(page)  # until then the other table's field is there too
    page.locator("input[type=file]").set_input_files(table)
    expect(page.get_by_text("Biased at R-1, R-2, R-3", exact=False)).to_be_visible()
    expect(page.get_by_alt_text("Bias over the reference values, with intervals and line")).to_be_visible()
    assert serious(page) == []


def test_the_store_without_repeats_says_what_to_do(open_page: Opened) -> None:
    page = open_page("gauge?who=R.+Hale")
    choose(page, "Measurements", "from the store")
    expect(page.get_by_text("No tray was photographed more than once", exact=False)).to_be_visible()
