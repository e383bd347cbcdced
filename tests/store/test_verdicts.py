"""Verdicts of people: each filed once, corrected by new rows only, and what stands is the newest."""

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st
from sqlalchemy import func, select, text

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.people.pace import pace
from app.store.people.verdicts import NewVerdict, Receipt, Standing, VerdictWord, give, standing
from app.store.results.exports import verdicts_csv
from app.store.results.filing import file_result
from app.store.results.shown import newest_judgement
from tests.store.made import made_piece, made_tray, to_file
from vision.errors import Unusable


def said(
    store: Store,
    uid: str,
    verdict: VerdictWord = "reject",
    piece: int = 3,
    inspector: str = "R. Hale",
    takes_back: str | None = None,
) -> Receipt:
    """Give a verdict on a piece of the made tray as judged now."""
    judgement = newest_judgement(store, "T-000123", piece)
    with store.read() as connection:
        query = select(schema.judgement.c.piece_id).where(schema.judgement.c.id == judgement)
        piece_id = connection.execute(query).scalar_one()
        seen = connection.execute(select(schema.verdict.c.uid).order_by(schema.verdict.c.id.desc()).limit(1)).scalar()
    defects = ("burr",) if verdict == "reject" else ()
    given = (uid, piece_id, judgement, inspector, "declared", verdict, defects, "", now())
    return give(store, NewVerdict(*given, takes_back=takes_back, seen=seen))


def rows(store: Store) -> int:
    """How many rows of verdicts there are, corrected ones and all."""
    with store.read() as connection:
        return int(connection.execute(select(func.count()).select_from(schema.verdict)).scalar_one())


def stand(store: Store) -> list[tuple[str, int, str, int]]:
    """What stands: inspector, piece, verdict, round."""
    return [(one.inspector, one.piece, one.verdict, one.round) for one in standing(store)]


@pytest.fixture
def filed(store: Store) -> Store:
    """A store with one tray."""
    file_result(store, to_file())
    return store


def test_sent_twice_is_filed_once(filed: Store) -> None:
    assert said(filed, "a") == Receipt("a", "stored")
    assert said(filed, "a") == Receipt("a", "known")
    assert rows(filed) == 1


def test_a_second_verdict_corrects_the_first_and_both_stay(filed: Store) -> None:
    said(filed, "a", "reject")
    assert said(filed, "b", "accept").outcome == "corrected"
    assert stand(filed) == [("R. Hale", 3, "accept", 1)]
    with filed.read() as connection:
        kept = connection.execute(select(schema.verdict.c.uid, schema.verdict.c.replaces).order_by(schema.verdict.c.id))
        assert [(uid, replaces is None) for uid, replaces in kept] == [("a", True), ("b", False)]


def test_undo_takes_the_verdict_back_and_another_may_follow(filed: Store) -> None:
    said(filed, "a", "reject")
    assert said(filed, "b", "withdrawn", takes_back="a").outcome == "stored"
    assert stand(filed) == []
    said(filed, "c", "accept")
    assert stand(filed) == [("R. Hale", 3, "accept", 1)]
    assert rows(filed) == 3


def test_undo_of_what_was_corrected_meanwhile_is_refused_by_name(filed: Store) -> None:
    said(filed, "a", "reject")
    said(filed, "b", "accept")
    receipt = said(filed, "c", "withdrawn", takes_back="a")
    assert (receipt.outcome, "changed since" in receipt.detail) == ("refused", True)
    assert stand(filed) == [("R. Hale", 3, "accept", 1)]


def test_two_inspectors_verdicts_both_stand(filed: Store) -> None:
    said(filed, "a", "reject")
    said(filed, "b", "accept", inspector="M. Okafor")
    assert stand(filed) == [("R. Hale", 3, "reject", 1), ("M. Okafor", 3, "accept", 1)]


def test_a_new_judgement_opens_the_next_round(filed: Store) -> None:
    said(filed, "a", "reject")
    file_result(filed, to_file(made_tray(pieces=[made_piece(3, "reject", value=0.5)])))
    assert said(filed, "b", "accept").outcome == "stored"
    assert stand(filed) == [("R. Hale", 3, "reject", 1), ("R. Hale", 3, "accept", 2)]


def test_a_verdict_on_another_pieces_judgement_is_refused(filed: Store) -> None:
    judgement = newest_judgement(filed, "T-000123", 2)
    receipt = give(filed, NewVerdict("a", 1, judgement, "R. Hale", "declared", "accept", (), "", now()))
    assert receipt.outcome == "refused"
    unknown = give(filed, NewVerdict("b", 99, None, "R. Hale", "declared", "accept", (), "", now()))
    assert unknown.outcome == "refused"
    assert rows(filed) == 0


@pytest.mark.parametrize("change", ["DELETE FROM verdict", "UPDATE verdict SET verdict = 'accept'"])
def test_verdicts_can_not_be_changed(filed: Store, change: str) -> None:
    said(filed, "a", "reject")
    with pytest.raises(Unusable, match="never changed"), filed.write() as connection:
        connection.execute(text(change))
    assert stand(filed) == [("R. Hale", 3, "reject", 1)]


def test_pace_counts_what_was_given(filed: Store) -> None:
    before = now()
    said(filed, "a", "reject")
    said(filed, "b", "withdrawn", takes_back="a")
    said(filed, "c", "accept", inspector="M. Okafor")
    assert pace(filed, before) == 2
    assert pace(filed, before, "M. Okafor") == 1
    assert pace(filed, "9999") == 0


STEP = st.tuples(
    st.sampled_from(["accept", "reject", "undo", "repeat"]), st.integers(1, 3), st.sampled_from(["A", "B"])
)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(steps=st.lists(STEP, max_size=12))
def test_what_stands_is_what_each_person_said_last(filed: Store, steps: list[tuple[str, int, str]]) -> None:
    # One store serves all examples, so every example has people of its own.
    mark = f"{rows(filed)}"
    expected: dict[tuple[str, int], str] = {}
    last: dict[tuple[str, int], str] = {}
    for number, (step, piece, letter) in enumerate(steps):
        inspector, uid = f"{letter}{mark}", f"{mark}-{number}"
        key = (inspector, piece)
        if step in ("accept", "reject"):
            said(filed, uid, "accept" if step == "accept" else "reject", piece, inspector)
            expected[key], last[key] = step, uid
        elif step == "undo" and key in expected:
            said(filed, uid, "withdrawn", piece, inspector, takes_back=last[key])
            del expected[key]
            last[key] = uid
        elif step == "repeat" and key in last:
            assert said(filed, last[key], "accept", piece, inspector).outcome == "known"
    found = {(i, p): v for i, p, v, _ in stand(filed) if i.endswith(mark) and i[:1] in "AB" and i[1:] == mark}
    assert found == expected


def test_the_table_of_verdicts_quotes_what_needs_it() -> None:
    one = Standing(
        "u",
        1,
        "T-1",
        2,
        'Hale, "R"',
        "declared",
        1,
        "reject",
        ("burr", "nick"),
        "two\nlines",
        "2026-11-02T06:00:00+00:00",
        None,
    )
    assert verdicts_csv([one]) == (
        "tray,piece,inspector,round,verdict,defects,note,given_at\n"
        'T-1,2,"Hale, ""R""",1,reject,burr;nick,"two\nlines",2026-11-02T06:00:00+00:00\n'
    )
