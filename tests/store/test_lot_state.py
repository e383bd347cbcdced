"""What stands of a lot: what came after its release, what gets through, and the series of lots by sample."""

from dataclasses import replace

import pytest

from app.report.lot_words import escapes_words
from app.store.database.connection import Store
from app.store.lots.decisions import Word
from app.store.lots.lot_list import list_lots, set_lot_value
from app.store.lots.lot_size import LOT_SIZE, state_size
from app.store.lots.series import series_up_to
from app.store.lots.state import lot_state, standings
from app.store.people.actor import Acted
from app.store.people.blind_rounds import make_blind
from app.store.people.drawing import Draw, draw_pieces
from app.store.people.verdicts import NewVerdict, give
from app.store.results.filing import file_result
from app.store.stations.checks import file_checks
from app.studies.lot_sampling import Acceptance, accept_series
from tests.store.made import decide, made_piece, made_tray, to_file
from tests.store.test_lot_decisions import LOT, file_trays, sampled_good_lots
from tests.store.test_station_checks import check
from vision.errors import Unusable


def decide_by_state(store: Store, word: Word, part: str | None = None) -> None:
    """Decide by what stands in the store now, as command and page do."""
    decide(store, lot_state(store, LOT, part).decision(word, Acted("R. Hale", "declared", "checked")))


def test_trays_that_come_after_a_release_reopen_the_question(store: Store) -> None:
    file_trays(store, 2)
    decide_by_state(store, "release")
    file_trays(store, 2)
    assert lot_state(store, LOT).standing == "released"
    file_trays(store, 1, first=2)
    state = lot_state(store, LOT)
    assert state.late_trays == ("T-002",)
    assert state.standing == standings(store, list_lots(store))[LOT, "TS-135"] == "released, then more trays came"
    decide_by_state(store, "release")
    assert lot_state(store, LOT).standing == "released"


def test_a_tray_judged_anew_after_a_release_is_named(store: Store) -> None:
    file_trays(store, 2)
    decide_by_state(store, "release")
    pieces = [made_piece(k, "reject") for k in (1, 2, 3)]
    file_result(store, to_file(made_tray("T-001", pieces, taken_at="2026-11-02T06:01:00+00:00", die="D2")))
    state = lot_state(store, LOT)
    assert (state.late_trays, state.standing) == (("T-001",), "released, then trays were judged anew")


def test_results_filed_again_without_the_station_are_no_news(store: Store) -> None:
    file_trays(store, 1)
    decide_by_state(store, "release")
    before = made_tray("T-000", taken_at="2026-11-02T06:00:00+00:00", die="D1")
    file_result(store, replace(to_file(before), station=None, part=None))
    assert lot_state(store, LOT).standing == "released"


def test_trays_that_fall_into_doubt_after_a_release_are_told(store: Store) -> None:
    file_trays(store, 2)
    decide_by_state(store, "release")
    file_checks(store, [check(5, "pass"), check(9, "stop")])
    assert lot_state(store, LOT).standing == "released, then trays fell into doubt"
    file_trays(store, 1, first=2)
    both = "released, then more trays came and trays fell into doubt"
    assert lot_state(store, LOT).standing == standings(store, list_lots(store))[LOT, "TS-135"] == both


def test_a_verdict_after_a_release_is_told_and_one_on_a_lot_on_hold_is_none_of_its_news(store: Store) -> None:
    file_trays(store, 1)
    decide_by_state(store, "hold")
    passed = next(piece for piece in lot_state(store, LOT).content.pieces if piece.verdict == "pass")
    when = "2026-11-02T09:00:00Z"
    give(store, NewVerdict("a", passed.piece_id, None, "R. Hale", "declared", "reject", (), "", when))
    assert lot_state(store, LOT).standing == "held"
    decide_by_state(store, "release")
    assert lot_state(store, LOT).standing == "released"
    give(store, NewVerdict("b", passed.piece_id, None, "R. Hale", "declared", "accept", (), "", when, seen="a"))
    assert lot_state(store, LOT).standing == "released, then verdicts changed"


def test_each_part_of_a_lot_is_decided_on_by_itself(store: Store) -> None:
    file_trays(store, 1)
    file_result(store, to_file(replace(made_tray("T-900"), part="DS-182")))
    decide_by_state(store, "release", "DS-182")
    assert lot_state(store, LOT, "TS-135").standing == "open"
    assert lot_state(store, LOT, "DS-182").standing == "released"
    assert standings(store, list_lots(store)) == {(LOT, "DS-182"): "released"}


def test_the_share_of_bad_among_passed_pieces_is_taken_from_blind_words_on_passed_pieces(store: Store) -> None:
    """Of four passed and four flagged pieces all flagged ones, and a passed one, are bad by two of three people."""
    pieces = [made_piece(k + 1, "pass") for k in range(10)] + [made_piece(k + 11, "reject") for k in range(4)]
    file_result(store, to_file(made_tray("T-000", pieces)))
    assert lot_state(store, LOT).figures.escapes is None
    drawn = draw_pieces(store, Draw(LOT, 8, 1, {"pass": 1.0, "reject": 1.0}))
    chosen = [one.piece_id for one in drawn.pieces]
    verdict_of = {piece.piece_id: piece.verdict for piece in lot_state(store, LOT).content.pieces}
    blind = make_blind(store, "first", 1, 1, drawn, "R. Hale")
    bad = next(one for one in chosen if verdict_of[one] == "pass")
    for name in ("A", "B", "C"):
        for one in chosen:
            word = "reject" if verdict_of[one] == "reject" or (one == bad and name != "C") else "accept"
            uid, when = f"{name} {one}", "2026-11-02T09:00:00Z"
            give(store, NewVerdict(uid, one, None, name, "declared", word, (), "", when, None, blind.id, 1))
    found = lot_state(store, LOT).figures.escapes
    assert found is not None
    assert (found.bad, found.seen) == (1, 4)
    assert found.escaped.value == pytest.approx(2.5)  # a quarter of the ten passed ones
    assert "judged 4 pieces of this lot that it passes and found 1 bad" in escapes_words(found)


@pytest.mark.long
def test_inspection_is_chosen_for_each_part_and_only_after_the_newest_lot(store: Store) -> None:
    names = sampled_good_lots(store, 10)
    file_result(store, to_file(replace(made_tray("T-900", [made_piece(1, "pass")], names[-1]), part="DS-182")))

    def last(lot: str, part: str = "TS-135") -> Acceptance:
        return accept_series(series_up_to(store, lot_state(store, lot, part)), 1.0)[-1]

    assert last(names[-1]).may_begin == ("reduced",)
    assert last(names[-2]).may_begin == ()
    assert f"lot {names[-1]} was inspected after it" in (last(names[-2]).why_not_begin("reduced") or "")
    decide(store, lot_state(store, names[-1], "TS-135").decision("reduced", Acted("R. Hale", "declared", "steady")))
    assert last(names[-1]).course.severity == "reduced"
    assert lot_state(store, names[-1], "TS-135").standing == "open"
    other = lot_state(store, names[-1], "DS-182")
    assert (other.size, series_up_to(store, other)) == (None, ())  # of this part every piece was photographed
    state_size(store, names[-1], "DS-182", 50, "R. Hale")
    assert (last(names[-1], "DS-182").size, last(names[-1], "DS-182").severity) == (50, "normal")


def test_a_size_that_names_no_part_holds_for_the_parts_without_one_of_their_own(store: Store) -> None:
    file_trays(store, 1)
    set_lot_value(store, LOT, LOT_SIZE, 500.0, "R. Hale")
    assert lot_state(store, LOT).size == 500
    state_size(store, LOT, "TS-135", 700, "R. Hale")
    assert lot_state(store, LOT).size == 700


def test_what_speaks_against_a_release(store: Store) -> None:
    file_trays(store, 2)
    state = lot_state(store, LOT)
    assert state.figures.fates["waiting"] == 2
    assert "2 of its pieces wait" in (state.why_not_released(False) or "")
    assert state.why_not_released(True) is None
    for piece in state.content.pieces:
        if piece.verdict == "review":
            uid = f"{piece.tray}-{piece.piece}"
            give(
                store,
                NewVerdict(uid, piece.piece_id, None, "R. Hale", "declared", "accept", (), "", "2026-11-02T09:00:00Z"),
            )
    state = lot_state(store, LOT)
    assert (state.figures.fates["accepted"], state.figures.to_packing) == (2, 4)
    assert state.why_not_released(False) is None
    file_checks(store, [check(5, "pass"), check(9, "stop")])
    assert "2 of its trays are to be judged again" in (lot_state(store, LOT).why_not_released(True) or "")


def test_figures_do_not_change_when_a_tray_is_filed_twice_or_judged_anew(store: Store) -> None:
    file_trays(store, 2)
    before = lot_state(store, LOT).figures
    file_trays(store, 2)
    assert lot_state(store, LOT).figures.fates == before.fates
    better = made_tray(
        "T-000", [made_piece(k, "pass") for k in (1, 2, 3)], taken_at="2026-11-02T06:00:00+00:00", die="D1"
    )
    file_result(store, to_file(better))
    assert lot_state(store, LOT).figures.fates["passed"] == before.fates["passed"] + 2


def test_a_lot_of_two_parts_asks_which(store: Store) -> None:
    file_trays(store, 1)
    file_result(store, to_file(replace(made_tray("T-900"), part="DS-182")))
    with pytest.raises(Unusable, match="DS-182, TS-135"):
        lot_state(store, LOT)
    assert lot_state(store, LOT, "DS-182").figures.trays == 1
