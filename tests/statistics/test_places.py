"""Marks at one place against chance, and their likely origin."""

from dataclasses import replace

import numpy as np
import pytest

from app.statistics.places import UNNAMED, Ground, Mark, same_place
from tests.statistics.place_simulation import CASES, simulate

GROUND = Ground(300.0, 800.0)
PIECES = {"D1": 200, "D2": 200, "D3": 200}


def anywhere(rng: np.random.Generator, count: int, kind: str = "nick") -> list[Mark]:
    spread = (
        (lambda: (float(rng.uniform(0.0, 300.0)), 0.0))
        if kind == "nick"
        else (lambda: (float(rng.uniform(0.0, 40.0)), float(rng.uniform(0.0, 20.0))))
    )
    return [Mark(kind, *spread(), f"T-{k}", 1, str(rng.choice(list(PIECES)))) for k in range(count)]


def at(rng: np.random.Generator, dies: list[str], x: float = 120.0, kind: str = "nick") -> list[Mark]:
    return [Mark(kind, x + float(rng.normal(0.0, 0.15)), 5.0, f"U-{k}", 2, die) for k, die in enumerate(dies)]


@pytest.mark.parametrize("kind", ["nick", "pit"])
def test_chance_is_not_named(kind: str) -> None:
    # 200 lots at 1 in 100: more than 8 by a chance of about 1 in 5000.
    named = sum(
        bool(same_place(anywhere(np.random.default_rng(seed), 120, kind), PIECES, GROUND).places) for seed in range(200)
    )
    assert named <= 8


def test_a_lot_of_all_kinds_names_chance_in_one_of_100() -> None:
    # 200 lots at 1 in 100, all kinds together: more than 8 by a chance of about 1 in 1000.
    named = 0
    for seed in range(200):
        rng = np.random.default_rng([20, seed])
        marks = [mark for kind in ("nick", "pit") for mark in anywhere(rng, 20, kind)]
        marks += [replace(mark, kind={"nick": "burr", "pit": "scratch"}[mark.kind]) for mark in marks[::2]]
        named += bool(same_place(marks, PIECES, GROUND).places)
    assert named <= 8


def test_the_chance_told_is_no_smaller_than_the_simulated_one() -> None:
    rng = np.random.default_rng(21)
    # 35 nicks far apart and 5 at one place, against 40 anywhere of which 5 meet, 20,000 times.
    apart = [Mark("nick", 8.0 * k, 0.0, f"T-{k}", 1, "D1") for k in range(35)]
    together = [Mark("nick", 290.0, 0.0, f"U-{k}", 1, "D1") for k in range(5)]
    (place,) = same_place(apart + together, PIECES, GROUND).places
    at = np.sort(rng.uniform(0.0, 300.0, (20_000, 40)), axis=1)
    met = sum(
        bool(((np.abs(row[:, None] - row[None, :]) <= 0.7).sum(axis=1) >= 5).any())
        for row in at[(at[:, 4:] - at[:, :-4]).min(axis=1) <= 1.4]
    )
    # The four kinds share the chance; met by chance of so many that fewer than a tenth or more than all is 1 in 1000.
    told = place.p / 4
    assert 0.1 * told <= met / 20_000 <= told + 3.3 * np.sqrt(told / 20_000)


@pytest.mark.parametrize(
    ("dies", "pieces", "die", "words"),
    [
        (["D1"] * 5 + ["D2"] * 3, PIECES, None, "on 5 of 200 pieces of die D1, 3 of 200 pieces of die D2, 0 of 200"),
        (["D1"] * 5 + ["D2"] * 3, PIECES, None, "too few to tell; most likely"),
        (["D1"] * 8, {"D1": 200, "D2": 200}, "D1", "0 of 200 pieces of die D2: the die D1 itself"),
        (["D1", "D2"] * 12, PIECES, None, "something that only dies D1 and D2 pass"),
        (["D1"] * 40 + ["D2"] * 20 + ["D3"] * 20, PIECES, None, "too few to tell; most likely"),
        ([UNNAMED] * 6, {UNNAMED: 90}, None, "on 6 pieces whose trays name no die: the die, or a fixture"),
        (["D1"] * 6 + [UNNAMED] * 6, {"D1": 90, UNNAMED: 90}, None, "on 6 of 90 pieces of die D1, the only die seen"),
    ],
)
def test_an_origin_is_told_only_where_the_pieces_tell_it(
    dies: list[str], pieces: dict[str, int], die: str | None, words: str
) -> None:
    (place,) = same_place(at(np.random.default_rng(22), dies), pieces, GROUND).places
    assert place.die == die
    assert words in place.origin


def test_tens_of_thousands_of_marks_are_searched() -> None:
    rng = np.random.default_rng(23)
    found = same_place(
        anywhere(rng, 20_000, "pit") + at(rng, ["D3"] * 4_000, 20.0, "pit"), dict.fromkeys(PIECES, 12_000), GROUND
    )
    assert found.places[0].die == "D3"
    assert len(found.places[0].pieces) >= 4_000


def test_a_nick_of_one_die_is_that_dies() -> None:
    rng = np.random.default_rng(2)
    found = same_place(anywhere(rng, 120) + at(rng, ["D2"] * 12), PIECES, GROUND)
    (place,) = found.places
    assert (place.kind, place.die, len(place.pieces)) == ("nick", "D2", 12)
    assert place.x_mm == pytest.approx(120.0, abs=0.2)
    assert place.origin.endswith("the die D2 itself")
    assert found.elsewhere["nick"] == 120


def test_a_nick_of_all_dies_is_a_fixtures() -> None:
    rng = np.random.default_rng(3)
    (place,) = same_place(anywhere(rng, 60) + at(rng, ["D1", "D2", "D3"] * 8), PIECES, GROUND).places
    assert place.die is None
    assert "a fixture or a mould" in place.origin


def test_two_places_are_two() -> None:
    rng = np.random.default_rng(4)
    found = same_place(at(rng, ["D1"] * 9, 50.0) + at(rng, ["D3"] * 15, 200.0) + anywhere(rng, 40), PIECES, GROUND)
    assert [(place.die, len(place.pieces)) for place in found.places] == [("D3", 15), ("D1", 9)]


def test_marks_that_crowd_broadly_are_no_place() -> None:
    # Half of all nicks on a stretch of 40 mm, spread evenly there: thick, but at no one place.
    rng = np.random.default_rng(5)
    thick = [Mark("nick", float(x), 0.0, f"V-{k}", 1, "D1") for k, x in enumerate(rng.uniform(100.0, 140.0, 80))]
    assert same_place(thick + anywhere(rng, 80), PIECES, GROUND).places == ()


def test_many_marks_on_one_piece_are_one_piece() -> None:
    marks = [Mark("pit", 10.0 + 0.01 * k, 5.0, "T-1", 1, "D1") for k in range(20)]
    assert same_place(marks, PIECES, GROUND).places == ()


def test_the_only_die_can_not_be_told_from_a_fixture() -> None:
    rng = np.random.default_rng(6)
    (place,) = same_place(at(rng, ["D1"] * 8), {"D1": 50}, GROUND).places
    assert place.die is None
    assert "compare with another die" in place.origin


def test_a_kind_keeps_to_itself_and_no_mark_is_no_place() -> None:
    rng = np.random.default_rng(7)
    found = same_place(at(rng, ["D1"] * 2) + at(rng, ["D1"] * 2, kind="burr"), PIECES, GROUND)
    assert found.places == ()
    assert found.elsewhere == {"burr": 2, "nick": 2, "scratch": 0, "pit": 0}
    assert found.words == ("2 burrs anywhere: handling", "2 nicks anywhere: handling")
    assert same_place([], PIECES, GROUND).words == ()


@pytest.mark.parametrize("case", CASES)
def test_origins_are_told_as_they_are_or_not_at_all(case: str) -> None:
    """12 lots of each: at 5 % wrong more than 3 come by a chance of 0.2 %; the full table is place_simulation's."""
    assert simulate(case, 12).wrong <= 3 / 12
