"""Challenges in the store, and what a demanded one says of a lot."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from app.store.database.connection import Store
from app.store.stations.challenges import Challenge, challenges, file_challenge, why_unchallenged
from tests.store.test_lot_decisions import LOT, file_trays


def challenge(hours_ago: float, missed: tuple[str, ...] = ()) -> Challenge:
    at = (datetime.now(UTC) - timedelta(hours=hours_ago)).isoformat(timespec="seconds")
    return Challenge("ST-1", "TS-135", "T-1", at, "R. Hale", ("slit", "scratch"), 3, missed)


def test_a_challenge_is_kept_once(store: Store) -> None:
    one = challenge(1.0)
    file_challenge(store, one)
    file_challenge(store, one)
    file_challenge(store, replace(one, missed=("piece 2: slit, review",)))
    assert [(each.verdict, each.missed) for each in challenges(store, "ST-1")] == [
        ("pass", ()),
        ("stop", ("piece 2: slit, review",)),
    ]
    assert challenges(store, "ST-9") == ()


def test_a_lot_waits_for_the_challenge_that_the_works_demands(store: Store) -> None:
    file_trays(store, 1)
    assert why_unchallenged(store, LOT, "TS-135", None) is None
    assert "never challenged" in (why_unchallenged(store, LOT, "TS-135", 10.0) or "")
    file_challenge(store, challenge(20.0))
    assert "was challenged last" in (why_unchallenged(store, LOT, "TS-135", 10.0) or "")
    file_challenge(store, challenge(2.0))
    assert why_unchallenged(store, LOT, "TS-135", 10.0) is None
    file_challenge(store, challenge(1.0, ("piece 1: slit, pass",)))
    assert "failed its challenge" in (why_unchallenged(store, LOT, "TS-135", 10.0) or "")
