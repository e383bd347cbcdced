"""Blind rounds of a lot whose truth is known, through the real store and the commands: figures are the lot's."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.people.blind_rounds import make_blind
from app.store.people.drawing import Draw, Drawn, allotted, draw_pieces
from app.store.people.verdicts import NewVerdict, give
from app.works.folder import Works, new_works
from tests.shell import Run
from tests.studies.conftest import json_of
from tests.studies.rounds import LIMITS, LOT, Shares, draw_truth, file_lot, judge_round
from vision.errors import Unusable
from vision.formats.limits import write_limits

SMALLER = Shares(2000, 103, 27, 27)
"""The lot of 8000, a quarter as large: 26.2 % missed, 1.4 % false alarms."""

HALVES = {"pass": 0.5, "review": 0.25, "reject": 0.25}


@dataclass(frozen=True)
class Filed:
    """A works with the lot in its store, and which of its pieces are bad."""

    works: Works
    bad: dict[int, bool]


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Filed:
    """The lot, with no verdict so far."""
    works = new_works(tmp_path_factory.mktemp("design") / "works", "Aldermoor Flatware Works")
    write_limits(LIMITS, works.limits_file("TS-135"))
    with closing(works.open()) as store:
        by_key = file_lot(store, draw_truth(np.random.default_rng(20), SMALLER))
        with store.read() as connection:
            rows = connection.execute(
                select(schema.piece.c.id, schema.tray.c.tray, schema.piece.c.piece).join(schema.tray)
            ).all()
    return Filed(works, {row.id: by_key[row.tray, row.piece] for row in rows})


@pytest.fixture
def store(filed: Filed) -> Iterator[Store]:
    """The store of the works."""
    with closing(filed.works.open()) as store:
        yield store


def test_a_round_half_flagged_tells_the_lots_share_of_missed_pieces(
    run: Run, filed: Filed, store: Store, tmp_path: Path
) -> None:
    """Chance of failing, were the start another: 5 % for each interval at most, as it must be of 95 %."""
    blind = make_blind(store, "halves", 3, 1, draw_pieces(store, Draw(LOT, 200, 3, HALVES)), "R. Hale")
    judge_round(store, blind, filed.bad)
    ran = run("agree", "--works", filed.works.folder, "--blind", "halves", "--out", tmp_path)
    assert ran.code == 0, ran.err
    assert "drawn at random within each of the camera's verdicts" in ran.out
    table = json_of(tmp_path / "agreement.json")
    (strata,) = (one["strata"] for one in table["design"]["rounds"])
    assert sum(one["size"] for one in strata) == 2000
    assert sum(one["drawn"] for one in strata) == 200
    pair = table["camera_vs"]["majority"]
    assert sum(map(sum, pair["table"])) == 200
    for rate, truth in (("missed", 27 / 103), ("false_alarm", 27 / 1897)):
        low, high = pair[rate]["ci"]
        assert low <= truth <= high, rate
    passed = next(one for one in strata if one["stratum"] == "pass")
    flagged = [one for one in strata if one["stratum"] != "pass"]
    counted = pair["table"]
    missed = counted[0][1] * passed["size"] / passed["drawn"]
    if len(flagged) == 1:  # Horvitz and Thompson's estimate by hand
        caught = counted[1][1] * flagged[0]["size"] / flagged[0]["drawn"]
        assert pair["missed"]["value"] == pytest.approx(missed / (missed + caught))
    assert "Horvitz and Thompson" in (tmp_path / "agreement.html").read_text(encoding="utf-8")


def test_tune_promises_nothing_that_such_a_round_can_not_show(
    run: Run, filed: Filed, store: Store, tmp_path: Path
) -> None:
    """The limit misses 26 %, and no round of 200 can show that another one misses at most 5 %.

    Chance of failing, were the start another: 5 % for the interval, as it must be of 95 %.
    """
    blind = make_blind(store, "for tuning", 4, 1, draw_pieces(store, Draw(LOT, 200, 14, HALVES)), "R. Hale")
    judge_round(store, blind, filed.bad)
    words = ("--works", filed.works.folder, "--blind", "for tuning", "--measure", "outline_out_mm", "--zone", "bowl")
    ran = run("tune", *words, "--out", tmp_path)
    assert ran.code == 0, ran.err
    table = json_of(tmp_path / "tuning.json")
    assert table["recommended"]["setting"] is None
    assert "stands for many others" in ran.out
    low, high = table["now"]["rates"]["missed"]["ci"]
    assert low <= 27 / 103 <= high


def test_a_random_round_is_an_exact_binomial_sample(run: Run, filed: Filed, store: Store, tmp_path: Path) -> None:
    blind = make_blind(store, "random", 5, 1, draw_pieces(store, Draw(LOT, 150, 5)), "R. Hale")
    judge_round(store, blind, filed.bad)
    ran = run("agree", "--works", filed.works.folder, "--blind", "random", "--out", tmp_path)
    assert "drawn at random." in ran.out
    pair = json_of(tmp_path / "agreement.json")["camera_vs"]["majority"]
    (_, b), (_, d) = pair["table"]
    assert pair["missed"]["value"] == pytest.approx(b / (b + d))


def test_verdicts_in_sight_count_only_where_asked_for(run: Run, filed: Filed, store: Store, tmp_path: Path) -> None:
    """On the bench somebody follows the camera, on twenty flagged pieces: no figure changes until it is asked for."""
    blind = make_blind(store, "sight", 6, 1, draw_pieces(store, Draw(LOT, 60, 6, HALVES)), "R. Hale")
    judge_round(store, blind, filed.bad)
    words = ("agree", "--works", filed.works.folder)
    run(*words, "--blind", "sight", "--out", tmp_path / "before")
    for piece_id, judgement_id in blind.pieces[:20]:
        when = "2026-11-02T09:00:00Z"
        give(
            store,
            NewVerdict(f"bench {piece_id}", piece_id, judgement_id, "R. Hale", "declared", "reject", (), "", when),
        )
    run(*words, "--blind", "sight", "--out", tmp_path / "after")
    assert json_of(tmp_path / "before" / "agreement.json") == json_of(tmp_path / "after" / "agreement.json")
    assert json_of(tmp_path / "after" / "agreement.json")["within"] == {}
    ran = run(*words, "--in-sight", "--out", tmp_path / "all")
    assert "camera's verdict in sight" in ran.out
    assert json_of(tmp_path / "all" / "agreement.json")["design"]["given"] == "in sight"


def test_rounds_together_each_by_its_own_design(run: Run, filed: Filed, tmp_path: Path) -> None:
    ran = run("agree", "--works", filed.works.folder, "--out", tmp_path)
    assert ran.code == 0, ran.err
    table = json_of(tmp_path / "agreement.json")
    rounds = [one["round"] for one in table["design"]["rounds"]]
    assert rounds == ["halves", "for tuning", "random", "sight"]
    assert table["pieces"] == 200 + 200 + 150 + 60
    low, high = table["camera_vs"]["majority"]["missed"]["ci"]
    assert low <= 27 / 103 <= high


def test_a_round_begun_before_designs_were_kept_is_weighted_by_the_store(
    run: Run, filed: Filed, store: Store, tmp_path: Path
) -> None:
    drawn = draw_pieces(store, Draw(LOT, 100, 7, {"pass": 0.5, "reject": 0.5, "review": 0.1}))
    with store.write() as connection:
        values = {"name": "old", "seed": 1, "rounds": 1, "made_by": "R. Hale", "made_at": "2100-01-01T00:00:00+00:00"}
        blind_id = connection.execute(schema.blind_round.insert().values(values).returning(schema.blind_round.c.id))
        number = blind_id.scalar_one()
        for place, one in enumerate(drawn.pieces):
            row = {"blind_id": number, "place": place, "piece_id": one.piece_id, "judgement_id": one.judgement_id}
            connection.execute(schema.blind_piece.insert().values(row))
    blind = next(one for one in _blinds(store) if one.name == "old")
    judge_round(store, blind, filed.bad)
    ran = run("agree", "--works", filed.works.folder, "--blind", "old", "--out", tmp_path)
    assert "begun before its design was kept" in ran.out
    (found,) = json_of(tmp_path / "agreement.json")["design"]["rounds"]
    assert (found["kept"], sum(one["size"] for one in found["strata"])) == (False, 2000)
    assert {one["stratum"] for one in found["strata"]} == {"pass", "flagged"}


def _blinds(store: Store):  # type: ignore[no-untyped-def]
    from app.store.people.blind_rounds import blinds

    return blinds(store)


def test_a_round_that_is_not_there_is_named(run: Run, filed: Filed, tmp_path: Path) -> None:
    ran = run("agree", "--works", filed.works.folder, "--blind", "none such", "--out", tmp_path / "out")
    assert ran.code == 2
    assert "none such" in ran.err
    table = ("--results", filed.works.results, "--verdicts", filed.works.limits_file("TS-135"))
    ran = run("agree", *table, "--blind", "x", "--out", tmp_path / "out")
    assert (ran.code, "ask for --works" in ran.err) == (2, True)


def test_shares_are_drawn_as_asked_and_none_is_forgotten(store: Store) -> None:
    assert allotted({"pass": 1000, "reject": 10}, {"pass": 1.0, "reject": 1.0}, 100) == {"pass": 90, "reject": 10}
    assert allotted({"pass": 1000, "reject": 500}, {"pass": 3.0, "reject": 1.0}, 100) == {"pass": 75, "reject": 25}
    with pytest.raises(Unusable, match="a share above 0"):
        draw_pieces(store, Draw(LOT, 10, 1, {"pass": 1.0}))
    drawn: Drawn = draw_pieces(store, Draw(LOT, 10, 1))
    assert drawn == draw_pieces(store, Draw(LOT, 10, 1))
    assert [(one.stratum, one.lot, one.size) for one in drawn.sizes] == [("all", LOT, 2000)]
