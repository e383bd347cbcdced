"""How the limits stood that judged a lot is said on page, report and line; and each report bears the head."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from app.report.limits_words import lot_limits_words
from app.report.lot_document import lot_page, lot_report
from app.report.lot_table import lot_table
from app.report.stamp import stamp_of, stamped
from app.report.study_page import ReportFolders
from app.store.database.connection import Store, open_store
from app.store.evidence.verify import verify
from app.store.line.outbox import make_messages, unsent
from app.store.lots.revisions import release
from app.store.lots.state import lot_state
from app.store.people.actor import Acted
from app.store.results.filing import ToFile, file_result
from app.store.results.shown import newest_judgement, shown
from tests.store.made import LIMITS, made_tray, to_file

LOT = "L-2611-07"
BY_NOBODY = "Judged by limits that say released, though nobody put them into force by name."
UNPROVEN = "Unproven: of 1 trays nothing says by which limits they were judged."


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(tmp_path / "store.sqlite")


def told(store: Store) -> tuple[list[str], list[str | None]]:
    """What is said of the lot, and with each message to the line."""
    make_messages(store)
    messages = [json.loads(one.payload)["limits_standing"] for one in unsent(store)]
    return lot_limits_words(lot_state(store, LOT).content.limits), messages


def test_limits_that_nobody_released_are_told_until_somebody_does(store: Store) -> None:
    file_result(store, to_file())
    assert told(store) == ([BY_NOBODY], ["released by nobody"])
    release(store, LIMITS, Acted("R. Hale", "declared", "as agreed"))
    file_result(store, to_file(made_tray("T-2")))
    assert told(store) == ([], ["released by nobody", "in force"])


def test_a_piece_on_the_bench_tells_its_limits(store: Store) -> None:
    tray = made_tray()
    file_result(store, to_file(tray))

    def standing() -> str | None:
        judgement = newest_judgement(store, tray.tray, tray.pieces[0].piece)
        assert judgement is not None
        return shown(store, [judgement])[judgement].limits_standing

    assert standing() == "released by nobody"
    release(store, LIMITS, Acted("R. Hale", "declared", "as agreed"))
    assert standing() == "in force"


def test_results_that_name_no_limits_are_told(store: Store) -> None:
    file_result(store, ToFile(made_tray()))
    assert told(store) == ([UNPROVEN], [None])


def test_the_report_says_so_and_bears_the_head(store: Store, tmp_path: Path) -> None:
    file_result(store, to_file())
    report = lot_report(store, lot_state(store, LOT), (), 1.0)
    page = stamped(lot_page(report, ReportFolders(tmp_path, tmp_path)), report.stamp)
    head = str(verify(store, None).head)
    assert BY_NOBODY in page
    assert page.count(f"<code>{head}</code>") == 1
    assert (lot_table(report)["limits_told"], lot_table(report)["head"]) == ([BY_NOBODY], head)


def test_a_stamp_goes_to_the_foot_of_a_page_and_nothing_else_changes(store: Store) -> None:
    page = "<html><body><p>Figures.</p></body></html>"
    with_head = stamped(page, stamp_of(store, None))
    assert with_head.startswith("<html><body><p>Figures.</p><footer>")
    assert with_head.endswith("</footer>\n</body></html>")
    assert stamped(page, None) == page
    assert "&lt;b&gt;" in stamped(page, replace(stamp_of(store, None), signature="<b>"))
