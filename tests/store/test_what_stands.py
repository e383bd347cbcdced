"""What stands: the examples that packed bad pieces, and where a person must choose."""

import json
from dataclasses import replace

import pytest
from sqlalchemy import func, select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.line.outbox import make_messages, unsent
from app.store.lots.lot_list import list_lots
from app.store.lots.revisions import file_limits, release
from app.store.lots.state import lot_state
from app.store.people.actor import Acted
from app.store.people.review_queue import waiting
from app.store.people.verdicts import NewVerdict, VerdictWord, give, holding
from app.store.people.wanted import Wanted
from app.store.results.filing import file_result
from app.store.results.in_force import never_in_force
from app.store.results.recall import recall_results
from app.store.results.shots import Chosen, Undecided
from app.store.results.shown import newest_judgement, shown
from app.store.results.trials import trials
from tests.store.made import LIMITS, PART, STATION, decide, made_piece, made_tray, to_file
from vision.errors import Unusable
from vision.records.judged import Digests, JudgedPiece, TrayResult

LOT_A, LOT_B = "LOT-A", "LOT-B"
GOOD, BAD = [made_piece(1, "pass"), made_piece(2, "review")], [made_piece(1, "reject"), made_piece(2, "reject")]
MOVE = Chosen("move", "R. Hale", "written down wrongly at the press")


def shot(
    pieces: list[JudgedPiece], lot: str | None = LOT_A, at: int = 6, tray: str = "T-1", judged: int = 8
) -> TrayResult:
    """A tray photographed at one hour, judged at another; its frames are those of the hour."""
    made = made_tray(tray, pieces, lot, f"2026-11-02T{at:02}:00:00+00:00")
    digests = Digests("drawing", "station", "limits", f"frames of {at}")
    return replace(made, judged_at=f"2026-11-02T{judged:02}:00:00+00:00", digests=digests)


def verdicts(store: Store, lot: str | None = LOT_A) -> list[str]:
    return [piece.verdict for one in recall_results(store) if one.lot == lot for piece in one.pieces]


def told(store: Store) -> list[list[str]]:
    make_messages(store)
    return [[piece["verdict"] for piece in json.loads(one.payload)["pieces"]] for one in unsent(store)]


def say(
    store: Store, uid: str, word: VerdictWord, seen: str | None = None, given_at: str = "", who: str = "R. Hale"
) -> None:
    """A verdict on the second piece of T-1."""
    judgement = newest_judgement(store, "T-1", 2)
    assert judgement is not None
    piece = shown(store, [judgement])[judgement].piece_id
    given = NewVerdict(uid, piece, judgement, who, "login", word, (), "", given_at or "2026-11-02T09:00:00Z", seen=seen)
    assert give(store, given).outcome != "refused"


def waits(store: Store) -> list[int]:
    return sorted(one.piece for one in waiting(store, Wanted(), 100))


def packed(store: Store, lot: str = LOT_A) -> int:
    return lot_state(store, lot).figures.to_packing


@pytest.mark.parametrize(("right", "wrong"), [(GOOD, BAD), (BAD, GOOD)])
def test_a_station_restored_has_its_verdicts_stand_again(
    store: Store, right: list[JudgedPiece], wrong: list[JudgedPiece]
) -> None:
    for pieces, hour in ((right, 8), (wrong, 9), (right, 10)):
        file_result(store, to_file(shot(pieces, judged=hour)))
    assert verdicts(store) == [one.verdict for one in right]
    assert told(store) == [[one.verdict for one in pieces] for pieces in (right, wrong, right)]
    assert packed(store) == sum(one.verdict == "pass" for one in right)
    assert waits(store) == [one.piece for one in right if one.verdict != "pass"]


def test_limits_put_back_have_their_verdicts_stand_again(store: Store) -> None:
    for revision, pieces in ((3, GOOD), (4, BAD), (3, GOOD)):
        result = replace(shot(pieces), limits_revision=revision)
        file_result(store, replace(to_file(result), limits=replace(LIMITS, revision=revision)))
    assert verdicts(store) == ["pass", "review"]


def test_the_same_result_twice_running_changes_nothing(store: Store) -> None:
    file_result(store, to_file(shot(GOOD)))
    before = _rows(store)
    assert not file_result(store, to_file(shot(GOOD, judged=9))).changed
    assert _rows(store) == before


def _rows(store: Store) -> dict[str, int]:
    with store.read() as connection:
        return {
            name: int(connection.execute(select(func.count()).select_from(table)).scalar_one())
            for name, table in schema.metadata.tables.items()
        }


def test_a_trays_name_in_another_lot_is_another_tray(store: Store) -> None:
    file_result(store, to_file(shot(GOOD)))
    release = lot_state(store, LOT_A).decision("release", Acted("R. Hale", "declared", "checked"))
    decide(store, release)
    file_result(store, to_file(shot(BAD, LOT_B, at=7)))
    assert (verdicts(store, LOT_A), verdicts(store, LOT_B)) == (["pass", "review"], ["reject", "reject"])
    assert [(one.lot, one.trays, one.pieces) for one in list_lots(store)] == [(LOT_A, 1, 2), (LOT_B, 1, 2)]
    assert (packed(store, LOT_A), packed(store, LOT_B), lot_state(store, LOT_A).standing) == (1, 0, "released")


def test_the_name_again_in_one_lot_waits_for_a_choice(store: Store) -> None:
    file_result(store, to_file(shot(GOOD)))
    before = _rows(store)
    with pytest.raises(Undecided, match=r"nothing was changed: another shot of that name .*import DIR --retake"):
        file_result(store, to_file(shot(BAD, at=7)))
    assert _rows(store) == before
    retake = Chosen("retake", "R. Hale", "the lamp was off")
    file_result(store, replace(to_file(shot(BAD[:1], at=7)), chosen=retake))
    assert verdicts(store) == ["reject"]  # its pieces count once, by the newest shot
    assert not file_result(store, to_file(shot(BAD, at=6, judged=11))).stands  # the first shot, judged again


def test_a_shot_that_says_that_it_is_a_retake_counts_in_whatever_order_they_come(store: Store) -> None:
    first, again = shot(GOOD), replace(shot(BAD, at=7), retake=True)
    file_result(store, to_file(again))
    file_result(store, to_file(first))
    assert verdicts(store) == ["reject", "reject"]


@pytest.mark.parametrize("lot", [LOT_B, None])
def test_a_shot_claimed_by_another_lot_or_none_stays_until_a_person_moves_it(store: Store, lot: str | None) -> None:
    file_result(store, to_file(shot(GOOD)))
    decide(store, lot_state(store, LOT_A).decision("release", Acted("R. Hale", "declared", "checked")))
    before = _rows(store)
    with pytest.raises(Undecided, match=r"filed as tray T-1 of lot LOT-A; .*--move --by NAME --why REASON"):
        file_result(store, to_file(shot(GOOD, lot)))
    assert {**_rows(store), "lot": 0} == {**before, "lot": 0}
    assert lot_state(store, LOT_A).standing == "released"
    with pytest.raises(Unusable, match="--by NAME and --why REASON"):
        file_result(store, replace(to_file(shot(GOOD, lot)), chosen=replace(MOVE, why=" ")))
    file_result(store, replace(to_file(shot(GOOD, lot)), chosen=MOVE))
    assert (verdicts(store, LOT_A), verdicts(store, lot)) == ([], ["pass", "review"])
    assert told(store)[-1] == ["pass", "review"]
    with store.read() as connection:
        kept = connection.execute(select(schema.choice)).one()
    assert (kept.kind, kept.lot_before, kept.lot, kept.given_by, kept.why) == ("move", LOT_A, lot, "R. Hale", MOVE.why)


def test_a_lot_that_lost_a_tray_after_its_release_says_so(store: Store) -> None:
    file_result(store, to_file(shot(GOOD)))
    file_result(store, to_file(shot(GOOD, at=7, tray="T-2")))
    decide(store, lot_state(store, LOT_A).decision("release", Acted("R. Hale", "declared", "checked")))
    file_result(store, replace(to_file(shot(GOOD, LOT_B)), chosen=MOVE))
    assert lot_state(store, LOT_A).standing == "released, then trays were moved to another lot and verdicts changed"


def test_one_shot_under_two_names_is_not_counted_twice(store: Store) -> None:
    file_result(store, to_file(shot(GOOD)))
    with pytest.raises(Undecided, match="the same shot is filed as tray T-1"):
        file_result(store, to_file(shot(GOOD, tray="T-2")))


def test_results_filed_later_from_their_folders_displace_nothing_judged_later(store: Store) -> None:
    later, older = to_file(shot(BAD, judged=10)), replace(to_file(shot(GOOD, judged=9)), judged_now=False)
    file_result(store, later)
    assert file_result(store, older).stands is False
    assert verdicts(store) == ["reject", "reject"]
    assert file_result(store, older).new == 0
    chosen = Chosen("stand", "R. Hale", "the later one was judged with a wrong station")
    assert file_result(store, replace(older, chosen=chosen)).stands
    assert verdicts(store) == ["pass", "review"]
    newest = replace(to_file(shot(BAD[:1], judged=12)), judged_now=False)
    assert file_result(store, newest).stands
    unknown = replace(to_file(replace(shot(GOOD, judged=9), judged_at=None, digests=None)), judged_now=False)
    assert (file_result(store, unknown).stands, verdicts(store)) == (False, ["reject"])


def test_the_browsers_clock_decides_nothing(store: Store) -> None:
    file_result(store, to_file(shot(GOOD)))
    say(store, "a", "accept", given_at="2026-11-02T10:00:00Z")  # by a browser that runs an hour fast
    say(store, "b", "reject", seen="a", given_at="2026-11-02T09:05:00Z", who="M. Okafor")
    assert [one.verdict for one in holding(store)] == ["reject"]
    assert (packed(store), waits(store)) == (1, [])


def test_a_late_verdict_takes_no_unseen_ones_place(store: Store) -> None:
    file_result(store, to_file(shot(GOOD)))
    say(store, "a", "reject", who="M. Okafor")
    say(store, "b", "accept", seen=None)  # from a browser that was offline
    assert ([one.verdict for one in holding(store)], packed(store), waits(store)) == (["reject"], 1, [2])
    say(store, "c", "accept", seen="b", who="M. Okafor")
    assert ([one.verdict for one in holding(store)], packed(store), waits(store)) == (["accept"], 2, [])


def test_a_persons_own_late_verdict_takes_no_unseen_ones_place_either(store: Store) -> None:
    file_result(store, to_file(shot(GOOD)))
    say(store, "a", "reject")
    say(store, "b", "accept")  # the same person's, from a tablet that was offline
    assert ([one.verdict for one in holding(store)], packed(store), waits(store)) == (["reject"], 1, [2])


def test_an_accept_ends_with_a_worse_judgement_and_a_reject_does_not(store: Store) -> None:
    def judged(value: float) -> None:
        file_result(store, to_file(shot([made_piece(2, "reject", value)])))

    judged(0.31)
    say(store, "a", "accept")
    judged(0.325)  # within the guard band of 0.018 mm
    assert (packed(store), waits(store)) == (1, [])
    judged(0.9)
    assert (packed(store), waits(store)) == (0, [2])
    judged(0.31)
    assert (packed(store), waits(store)) == (1, [])
    say(store, "b", "reject", seen="a")
    file_result(store, to_file(shot([made_piece(2, "pass", 0.1)])))
    assert (packed(store), waits(store)) == (0, [])


def test_a_trial_is_kept_and_never_counts(store: Store) -> None:
    file_result(store, to_file(shot(GOOD)))
    trial = replace(to_file(shot(BAD, judged=11)), trial=True, judged_now=False)
    assert (file_result(store, trial).new, file_result(store, trial).new) == (2, 0)
    assert (verdicts(store), told(store), packed(store)) == (["pass", "review"], [["pass", "review"]], 1)
    (one,) = trials(store)
    assert (one.tray, one.stands, one.trial) == ("T-1", {1: "pass", 2: "review"}, {1: "reject", 2: "reject"})
    assert one.changed == {1: ("pass", "reject"), 2: ("review", "reject")}
    assert (trials(store, LOT_A), trials(store, "L-none")) == ((one,), ())
    file_result(store, replace(to_file(shot(BAD, at=7, tray="T-9")), trial=True))
    assert [one.tray for one in recall_results(store)] == ["T-1"]
    assert [one.lot for one in list_lots(store)] == [LOT_A]


def test_a_move_to_where_a_tray_is_already_tells_the_line_nothing(store: Store) -> None:
    """Found by the model of what stands: the same folder brought in twice, the second time with a move."""
    for chosen in (None, Chosen("move", "R. Hale", "seen"), Chosen("move", "R. Hale", "seen again")):
        file_result(store, replace(to_file(shot(GOOD)), judged_now=False, chosen=chosen))
    assert told(store) == [["pass", "review"]]
    file_result(store, replace(to_file(shot(GOOD, LOT_B)), judged_now=False, chosen=Chosen("move", "R. Hale", "LOT-B")))
    assert told(store) == [["pass", "review"], ["pass", "review"]]


def test_what_was_never_in_force_is_named(store: Store) -> None:
    from app.store.database.definitions import digests_of

    own = replace(shot(GOOD), digests=digests_of(PART, STATION, LIMITS, "frames of 6"))
    assert never_in_force(store, own, None) == ()
    assert never_in_force(store, own, {}) == ("part", "station", "limits")
    file_result(store, to_file(own))
    assert never_in_force(store, own, {}) == ()
    other = digests_of(PART, replace(STATION, outline_mm=0.02), LIMITS, "frames of 6")
    assert never_in_force(store, replace(own, digests=other), {}) == ("station",)
    assert never_in_force(store, replace(own, digests=None), {}) == ()


def test_limits_that_nobody_put_into_force_count_for_nothing(store: Store) -> None:
    """A draft kept in the store, or `released` typed into a file: neither was ever in force."""
    from app.store.database.definitions import digests_of

    draft, typed = replace(LIMITS, status="draft", revision=4), replace(LIMITS, revision=9)
    with store.write() as connection:
        file_limits(connection, draft)
        file_limits(connection, typed)
    release(store, LIMITS, Acted("R. Hale", "declared", "checked"))
    file_result(store, to_file(shot(GOOD)))
    for limits, strange in ((draft, ("limits",)), (typed, ("limits",)), (LIMITS, ())):
        by = digests_of(PART, STATION, limits, "frames of 6")
        assert never_in_force(store, replace(shot(GOOD), digests=by), {}) == strange
