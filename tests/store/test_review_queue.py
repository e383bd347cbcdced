"""The queue: what waits, in which order, and that nobody gets what another has in hand."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings, strategies as st
from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.people import review_queue
from app.store.people.blind_rounds import Blind, make_blind, turns, turns_left
from app.store.people.drawing import Draw, Drawn, draw_pieces
from app.store.people.queue_lines import lay_out_all
from app.store.people.review_queue import Holder, choices, claim, give_back, renew, waiting, waiting_count
from app.store.people.verdicts import NewVerdict, give, standing
from app.store.people.wanted import Wanted
from app.store.results.filing import file_result
from tests.store.made import lost_piece, made_piece, made_tray, to_file
from vision.errors import Unusable

HALE, OKAFOR = Holder("browser-1", "R. Hale"), Holder("browser-2", "M. Okafor")


def file_three(store: Store) -> Store:
    """Three trays of three pieces, two flagged on each."""
    for k, die in enumerate(["D1", "D2", "D2"]):
        tray = made_tray(f"T-{k}", lot=f"L-2611-0{k % 2}", taken_at=f"2026-11-02T0{6 + k}:00:00+00:00", die=die)
        file_result(store, to_file(tray))
    return store


@pytest.fixture
def filed(store: Store) -> Store:
    return file_three(store)


@pytest.fixture(scope="module")
def looked_at(shared_store: Store) -> Store:
    """The same for tests that only look."""
    return file_three(shared_store)


def listed(store: Store, wanted: Wanted) -> list[tuple[str, int]]:
    """The queue as tray and piece."""
    return [(one.tray, one.piece) for one in waiting(store, wanted, 100)]


def judge(store: Store, piece_id: int, uid: str, inspector: str = "R. Hale", verdict: str = "accept") -> None:
    """Say something of a piece."""
    said = "accept" if verdict == "accept" else "withdrawn"
    taken = None if said == "accept" else verdict
    give(store, NewVerdict(uid, piece_id, None, inspector, "declared", said, (), "", now(), takes_back=taken))


def test_flagged_pieces_wait_and_no_others(looked_at: Store) -> None:
    assert waiting_count(looked_at, Wanted()) == 6
    assert {one.verdict for one in waiting(looked_at, Wanted(), 100)} == {"review", "reject"}


def test_oldest_first_and_worst_first(looked_at: Store) -> None:
    assert listed(looked_at, Wanted(order="oldest")) == [(f"T-{k}", piece) for k in range(3) for piece in (2, 3)]
    assert [piece for _, piece in listed(looked_at, Wanted(order="worst"))] == [3, 3, 3, 2, 2, 2]


def test_worse_by_class_then_by_outcome_then_by_how_far(store: Store) -> None:
    pieces = [made_piece(1, "reject", 0.2), made_piece(2, "review"), made_piece(3, "reject", 0.9), lost_piece(4)]
    file_result(store, to_file(made_tray(pieces=pieces)))
    assert [piece for _, piece in listed(store, Wanted())] == [3, 1, 4, 2]


@pytest.mark.parametrize(
    ("wanted", "count"),
    [
        (Wanted(lot="L-2611-00"), 4),
        (Wanted(die="D1"), 2),
        (Wanted(part="DS-182"), 0),
        (Wanted(measure="outline_out_mm"), 3),
        (Wanted(measure="scratch_longest_mm"), 6),
        (Wanted(severity="minor"), 3),
        (Wanted(verdict="review", die="D2"), 2),
    ],
)
def test_the_queue_can_be_narrowed_down(looked_at: Store, wanted: Wanted, count: int) -> None:
    assert waiting_count(looked_at, wanted) == len(listed(looked_at, wanted)) == count


def test_choices_are_those_of_waiting_pieces(looked_at: Store) -> None:
    found = choices(looked_at)
    assert found.lots == ("L-2611-00", "L-2611-01")
    assert found.dies == ("D1", "D2")
    assert found.measures == ("outline_out_mm", "scratch_longest_mm")
    assert found.severities == ("major", "minor")


def test_two_holders_never_get_the_same(filed: Store) -> None:
    first = claim(filed, HALE, Wanted(), 4)
    second = claim(filed, OKAFOR, Wanted(), 4)
    assert (len(first), len(second)) == (4, 2)
    assert not set(first) & set(second)
    assert claim(filed, OKAFOR, Wanted(), 4, but=second) == []


def test_what_is_in_hand_is_given_again_to_the_same_holder(filed: Store) -> None:
    first = claim(filed, HALE, Wanted(), 2)
    assert claim(filed, HALE, Wanted(), 2) == first
    assert not set(claim(filed, HALE, Wanted(), 2, but=first)) & set(first)


def test_loans_end_by_themselves_and_can_be_renewed(filed: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    first = claim(filed, HALE, Wanted(), 6)
    clock = review_queue.clock_s()
    monkeypatch.setattr(review_queue, "clock_s", lambda: clock + review_queue.LOAN_S - 1.0)
    renew(filed, HALE, first[:2])
    monkeypatch.setattr(review_queue, "clock_s", lambda: clock + review_queue.LOAN_S + 1.0)
    assert set(claim(filed, OKAFOR, Wanted(), 6)) == set(first[2:])
    assert renew(filed, HALE, first) == dict.fromkeys(first[2:], "M. Okafor")
    assert {one.held_by for one in waiting(filed, Wanted(), 9)} == {"R. Hale", "M. Okafor"}


def test_pieces_handed_in_are_free_at_once(filed: Store) -> None:
    first = claim(filed, HALE, Wanted(), 6)
    give_back(filed, HALE, but=first[:1])
    assert set(claim(filed, OKAFOR, Wanted(), 6)) == set(first[1:])


def test_a_verdict_ends_the_wait_and_undo_brings_it_back(filed: Store) -> None:
    piece = claim(filed, HALE, Wanted(), 1)[0]
    judge(filed, piece, "a")
    assert waiting_count(filed, Wanted()) == 5
    judge(filed, piece, "b", verdict="a")
    assert claim(filed, HALE, Wanted(), 1) == [piece]


def test_a_piece_judged_again_as_good_leaves_the_queue(filed: Store) -> None:
    file_result(filed, to_file(made_tray("T-0", [made_piece(3, "pass")], "L-2611-00", die="D1")))
    assert ("T-0", 3) not in listed(filed, Wanted())


def test_a_person_is_asked_again_only_by_a_judgement_that_says_worse(filed: Store) -> None:
    piece = claim(filed, HALE, Wanted(), 1)[0]
    judge(filed, piece, "a")
    pieces = [made_piece(2, "review"), made_piece(3, "reject", 0.315)]  # the guard band is 0.018 mm
    file_result(filed, to_file(made_tray("T-2", pieces, "L-2611-00", "2026-11-02T08:00:00+00:00", "D2")))
    assert waiting_count(filed, Wanted()) == 5
    pieces = [made_piece(2, "review"), made_piece(3, "reject", 0.9)]
    file_result(filed, to_file(made_tray("T-2", pieces, "L-2611-00", "2026-11-02T08:00:00+00:00", "D2")))
    assert waiting_count(filed, Wanted()) == 6


STEP = st.tuples(st.sampled_from(["file", "accept", "undo"]), st.integers(0, 2), st.integers(1, 3))


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(steps=st.lists(STEP, max_size=8))
def test_the_queue_rebuilt_is_the_queue_kept(filed: Store, steps: list[tuple[str, int, int]]) -> None:
    stands = {one.piece_id: one.uid for one in standing(filed)}
    for number, (step, tray, piece) in enumerate(steps):
        piece_id = 3 * tray + piece
        if step == "file":
            verdict = ("pass", "review", "reject")[number % 3]
            lot, taken_at = f"L-2611-0{tray % 2}", f"2026-11-02T0{6 + tray}:00:00+00:00"
            pieces = [made_piece(piece, verdict, 0.2 + number / 10)]
            file_result(filed, to_file(made_tray(f"T-{tray}", pieces, lot, taken_at)))
        elif step == "accept":
            stands[piece_id] = now() + f"{number}"
            judge(filed, piece_id, stands[piece_id])
        elif piece_id in stands:
            judge(filed, piece_id, now() + f"{number}", verdict=stands.pop(piece_id))
    kept = _lines(filed)
    with filed.write() as connection:
        lay_out_all(connection)
    assert _lines(filed) == kept


def _lines(store: Store) -> list[tuple[object, ...]]:
    columns = [column for column in schema.bench.c if column.name not in ("holder", "holder_name", "held_until")]
    with store.read() as connection:
        return [tuple(row) for row in connection.execute(select(*columns).order_by(schema.bench.c.piece_id))]


def test_a_blind_round_goes_on_where_it_stopped(filed: Store) -> None:
    blind = make_blind(filed, "first", 7, 2, draw_pieces(filed, Draw(None, 6, 1)), "R. Hale")
    order = turns_left(filed, blind, "M. Okafor")
    assert [one.turn for one in order] == [1] * 6 + [2] * 6
    for number, one in enumerate(order[:8]):
        give(
            filed,
            NewVerdict(
                f"b{number}", one.piece_id, one.judgement_id, "M. Okafor", "declared", "accept", (), "", now(),
                blind_id=blind.id, turn=one.turn,
            ),
        )  # fmt: skip
    assert turns_left(filed, blind, "M. Okafor") == order[8:]
    assert waiting_count(filed, Wanted()) == 6
    assert len(standing(filed, blind="first")) == 8
    give(
        filed,
        NewVerdict(
            "undo", order[7].piece_id, order[7].judgement_id, "M. Okafor", "declared", "withdrawn", (), "", now(),
            takes_back="b7", blind_id=blind.id, turn=order[7].turn,
        ),
    )  # fmt: skip
    assert turns_left(filed, blind, "M. Okafor") == order[7:]


def test_blind_rounds_are_checked(filed: Store) -> None:
    make_blind(filed, "first", 7, 2, draw_pieces(filed, Draw(None, 2, 1)), "R. Hale")
    for name, rounds, count in (("first", 1, 1), ("", 1, 1), ("x", 0, 1), ("x", 1, 0)):
        drawn = draw_pieces(filed, Draw(None, max(count, 1), 1)) if count else Drawn((), ())
        with pytest.raises(Unusable):
            make_blind(filed, name, 7, rounds, drawn, "R. Hale")


@given(seed=st.integers(0, 2**31), rounds=st.integers(1, 4), count=st.integers(1, 9), inspector=st.text(max_size=5))
def test_every_piece_is_shown_so_often_and_none_soon_again(seed: int, rounds: int, count: int, inspector: str) -> None:
    blind = Blind(1, "x", seed, rounds, "R. Hale", now(), tuple((k, k) for k in range(count)))
    shown = turns(blind, inspector)
    order = [one.piece_id for one in shown]
    assert turns.__wrapped__(blind, inspector) == shown
    assert [one.number for one in shown] == list(range(1, count * rounds + 1))
    for piece in range(count):
        assert [one.turn for one in shown if one.piece_id == piece] == list(range(1, rounds + 1))
    for apart in range(1, count // 3 + 1):
        assert all(a != b for a, b in zip(order, order[apart:], strict=False))


def test_the_place_in_the_order_does_not_tell_what_was_seen_before() -> None:
    """In the second sixth some are repeats, in the fifth some are not; a round of two halves has none and all."""
    again = np.zeros(60)
    for seed in range(40):
        blind = Blind(1, "x", seed, 2, "R. Hale", now(), tuple((k, k) for k in range(30)))
        again += [one.turn > 1 for one in turns(blind, "R. Hale")]
    shares = (again / 40).reshape(6, 10).mean(axis=1)
    # 400 showings each, not quite independent: 0.10, 0.36 and their complements (by 400 seeds), give or take 0.08
    assert np.abs(shares - [0.0, 0.1, 0.36, 0.64, 0.9, 1.0]).max() < 0.08
