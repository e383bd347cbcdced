"""The chain over what was filed: thirty kinds of tampering past the program, each found and named."""

import shutil
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from app.store.database.connection import Store, open_store
from app.store.evidence.chain import Head, head_of, seal
from app.store.evidence.verify import verify
from app.store.line.outbox import make_messages
from app.store.lots.lot_list import set_lot_value
from app.store.lots.revisions import release
from app.store.lots.state import lot_state
from app.store.people.actor import Acted
from app.store.people.verdicts import NewVerdict, give
from app.store.results.filing import file_result
from app.store.results.shots import Chosen
from app.store.stations.checks import file_checks
from tests.store.made import LIMITS, PART, STATION, decide, made_piece, made_profile, made_tray, to_file
from vision.errors import Unusable
from vision.formats.checks_file import Check

LOT = "L-2611-07"
VERDICT = (
    "INSERT INTO verdict (uid, piece_id, judgement_id, inspector, identity, round, verdict, defects, note, given_at,"
    " filed_at) VALUES ('{}', 2, 2, 'R. Hale', 'declared', 1, 'accept', '', '', 't', 't')"
)


def fill(store: Store) -> None:
    """One row at least of every kind that a works files day by day."""
    acted = Acted("R. Hale", "declared", "checked")
    release(store, LIMITS, acted)
    for number in (1, 2):
        tray = to_file(made_tray(f"T-{number}"))
        file_result(store, type(tray)(tray.result, (), PART, STATION, LIMITS, {1: made_profile(number)}))
    give(store, NewVerdict("a", 2, 2, "R. Hale", "declared", "accept", (), "", "t"))
    set_lot_value(store, LOT, "temper", 4.0, "R. Hale")
    file_checks(store, [Check("ST-1", "a" * 64, "REF-1", "2026-11-02T05:00:00+00:00", "pass", (), {}, ())])
    decide(store, lot_state(store, LOT).decision("hold", acted))
    make_messages(store)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("chain") / "store.sqlite"
    with closing(open_store(file)) as store:
        fill(store)
    return file


@pytest.fixture
def copy(filled: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(filled, tmp_path / "store.sqlite"))


def past_the_program(file: Path, *statements: str) -> None:
    """Change a store by hand, its guards taken away, as somebody with the file could."""
    import sqlite3

    with closing(sqlite3.connect(file)) as database:
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            assert database.execute(statement).rowcount != 0, statement
        database.commit()


# What is done by hand, and how it is named.
TAMPERING = {
    "a verdict of the camera": ("UPDATE judgement SET verdict = 'pass' WHERE id = 3", "filing 1, or what belongs"),
    "a fault taken away": ("UPDATE judgement SET fault = 'touching' WHERE id = 1", "filing 1"),
    "a place on the tray": ("UPDATE judgement SET x_px = 0.0 WHERE id = 4", "filing 2"),
    "a measured value": ("UPDATE measure SET value = 0.1 WHERE judgement_id = 3 AND zone = 'bowl'", "filing 1"),
    "an uncertainty": ("UPDATE measure SET uncertainty = 0.1 WHERE judgement_id = 3 AND zone = 'bowl'", "filing 1"),
    "a measure deleted": ("DELETE FROM measure WHERE judgement_id = 2 AND measure = 'length_mm'", "filing 1"),
    "a measure added": ("INSERT INTO measure VALUES (2, 'extra', '', 1.0, 0.1)", "filing 1"),
    "a limit in a reason": ("UPDATE reason SET upper = 9.0 WHERE judgement_id = 3 AND place = 0", "filing 1"),
    "a reason deleted": ("DELETE FROM reason WHERE judgement_id = 6", "filing 2"),
    "a finding": ("UPDATE finding_list SET body = x'00' WHERE judgement_id = 5", "filing 2"),
    "a tray's finding": ("UPDATE tray_finding SET kind = 'exposure' WHERE filing_id = 1 AND place = 0", "filing 1"),
    "which limits judged": ("UPDATE filing SET limits_revision = 9 WHERE id = 2", "filing 2"),
    "which program judged": ("UPDATE filing SET software = 'other' WHERE id = 1", "filing 1"),
    "a profile": ("UPDATE profile SET body = x'00' WHERE judgement_id = 1", "profile 1"),
    "when a shot was taken": ("UPDATE shot SET taken_at = '2026-01-01' WHERE id = 1", "shot 1"),
    "a shot's station": ("UPDATE shot SET station = 'ST-2' WHERE id = 2", "shot 2"),
    "a process value": ("UPDATE process_value SET words = 'D9' WHERE shot_id = 1 AND name = 'die'", "shot 1"),
    "a tray's name": ("UPDATE tray SET tray = 'T-9' WHERE id = 1", "tray 1"),
    "a lot's name": ("UPDATE lot SET lot = 'L-9' WHERE id = 1", "lot 1"),
    "a piece's number": ("UPDATE piece SET piece = 9 WHERE id = 2", "filing 1"),
    "a value of a lot": ("UPDATE lot_value SET number = 5.0 WHERE id = 1", "lot_value 1"),
    "a drawing": ("UPDATE part SET body = x'00' WHERE id = 1", "part 1"),
    "a station": ("UPDATE station SET digest = 'x' WHERE id = 1", "station 1"),
    "limits": ("UPDATE limits_revision SET body = x'00' WHERE id = 1", "limits_revision 1"),
    "who released limits": ("UPDATE limits_act SET given_by = 'N. Body' WHERE id = 1", "limits_act 1"),
    "a person's verdict": ("UPDATE verdict SET verdict = 'reject' WHERE id = 1", "verdict 1"),
    "a person's name": ("UPDATE verdict SET inspector = 'N. Body' WHERE id = 1", "verdict 1"),
    "a verdict deleted": ("DELETE FROM verdict WHERE id = 1", "verdict 1 is gone"),
    "a verdict added": (
        VERDICT.format("b").replace("'R. Hale'", "'N. Body'"),
        "verdict 2 was not filed by the program",
    ),
    "a check that stopped": ("UPDATE station_check SET outcome = 'stop' WHERE id = 1", "station_check 1"),
    "a decision": ("UPDATE lot_decision SET decision = 'release' WHERE id = 1", "lot_decision 1"),
    "why it was taken": ("UPDATE lot_decision SET why = 'none' WHERE id = 1", "lot_decision 1"),
    "when it was judged": ("UPDATE judging SET judged_at = 't' WHERE id = 1", "judging 1"),
    "what it was judged by": ("UPDATE judging SET proof = 'trial' WHERE id = 2", "judging 2"),
    "whether it stood": ("UPDATE judging SET stood = 0 WHERE id = 1", "judging 1"),
    "what a decision was taken by": ("DELETE FROM decided_judging WHERE judging_id = 1", "lot_decision 1"),
    "what stands of a piece": (
        "UPDATE standing_piece SET judgement_id = 99 WHERE piece_id = 3",
        "of piece 3 is not what",
    ),
    "what stands, taken away": ("DELETE FROM standing_piece WHERE piece_id = 3", "of piece 3 is not what"),
    "the counts kept of a tray": ("UPDATE standing_tray SET reject = 0 WHERE tray_id = 2", "what is kept of tray 2"),
    "the part kept of a tray": ("UPDATE standing_tray SET part = 'TS-9' WHERE tray_id = 2", "what is kept of tray 2"),
    "the time kept of a tray": ("UPDATE standing_tray SET taken_at = NULL", "what is kept of tray 1"),
    "a piece that waits, taken from the queue": ("DELETE FROM bench WHERE waiting = 1", "line kept of piece 3"),
    "a piece that waits, said not to": ("UPDATE bench SET waiting = 0 WHERE piece_id = 3", "line kept of piece 3"),
    "how bad a piece is": ("UPDATE bench SET badness = 1.0 WHERE piece_id = 3", "line kept of piece 3"),
    "the sums kept of a lot": ("UPDATE lot_sum SET pieces = 9", "sums kept of lot 1"),
    "the sums of a lot, taken away": ("DELETE FROM lot_sum", "sums kept of lot 1"),
    "a file said to be forgotten": (
        "INSERT INTO forgotten (path, digest, rule, given_by, identity, given_at) VALUES ('p', 'd', '', '', '', 't')",
        "forgotten 1 was not filed by the program",
    ),
    "what the line was told": ("UPDATE line_message SET body = x'00' WHERE id = 1", "line_message 1"),
    "a link's digest": ("UPDATE chain_link SET digest = 'x' WHERE id = 3", "link itself was changed"),
    "a link deleted": ("DELETE FROM chain_link WHERE id = 4", "link 4 is missing"),
}


@pytest.mark.parametrize("kind", TAMPERING)
def test_a_row_changed_past_the_program_is_found_and_named(copy: Path, kind: str) -> None:
    statement, named = TAMPERING[kind]
    past_the_program(copy, statement)
    with closing(open_store(copy, walk=False)) as store:
        found = verify(store, None)
    assert found.broken
    assert named in found.broken[0].what


def test_what_the_program_files_holds(filled: Path) -> None:
    with closing(open_store(filled)) as store:
        found = verify(store, None)
        assert found.broken == ()
        assert found.head.links > 15
        with store.read() as connection:
            assert head_of(connection) == found.head
        again = verify(store, None, found.head)
    assert again == found


def test_a_tray_that_a_person_moved_holds_and_one_moved_by_hand_does_not(copy: Path) -> None:
    with closing(open_store(copy, walk=False)) as store:
        moved = replace(to_file(made_tray("T-1", lot="L-2611-08")), chosen=Chosen("move", "R. Hale", "wrong label"))
        file_result(store, moved)
        assert verify(store, None).broken == ()
    past_the_program(copy, "UPDATE tray SET lot_id = 1 WHERE id = 1")
    with closing(open_store(copy, walk=False)) as store:
        assert "tray 1" in verify(store, None).broken[0].what


def test_an_older_act_put_back_by_hand_is_found(copy: Path) -> None:
    with closing(open_store(copy, walk=False)) as store:
        file_result(store, to_file(made_tray("T-1", [made_piece(number, "reject") for number in (1, 2, 3)])))
        assert verify(store, None).broken == ()
    past_the_program(
        copy,
        "UPDATE standing_tray SET judging_id = 1 WHERE tray_id = 1",
        "UPDATE standing_piece SET judgement_id = piece_id WHERE piece_id <= 3",
    )
    with closing(open_store(copy, walk=False)) as store:
        assert verify(store, None).broken[0].what == "what stands of tray 1 is not its newest act"


def test_the_guards_of_the_store_refuse_first(copy: Path) -> None:
    with (
        closing(open_store(copy, walk=False)) as store,
        pytest.raises(Unusable, match="never changed"),
        store.write() as connection,
    ):
        connection.exec_driver_sql("UPDATE chain_link SET digest = 'x'")


def test_a_chain_cut_at_its_end_holds_by_itself_but_not_against_a_head(copy: Path) -> None:
    with closing(open_store(copy, walk=False)) as store:
        head = verify(store, None).head
    past_the_program(copy, "DELETE FROM line_message WHERE id = 2", f"DELETE FROM chain_link WHERE id = {head.links}")
    with closing(open_store(copy, walk=False)) as store:
        assert verify(store, None).broken == ()
        (cut,) = verify(store, None, head).broken
    assert cut.what.startswith(f"the chain was cut: it had {head.links} links")


def test_a_chain_written_anew_as_a_whole_holds_by_itself_but_not_against_a_head(copy: Path) -> None:
    with closing(open_store(copy, walk=False)) as store:
        head = verify(store, None).head
    past_the_program(copy, "UPDATE verdict SET verdict = 'reject'", "DELETE FROM chain_link")
    with closing(open_store(copy, walk=False)) as store:
        assert "was not filed by the program" in verify(store, None).broken[0].what
        with store.writer.begin() as connection:
            seal(connection, {})  # as somebody would who has the program's source
        assert verify(store, None).broken == ()
        assert "written anew" in verify(store, None, head).broken[0].what


def test_rows_filed_by_writers_side_by_side_are_linked_each_once(store: Store) -> None:
    """Both databases; on PostgreSQL the second writer numbers its rows before the first has committed."""
    fill(store)
    with store.write() as one:
        one.exec_driver_sql("INSERT INTO lot (lot, filed_at) VALUES ('L-1', 't')")
        if one.dialect.name == "postgresql":
            with store.write() as other:
                other.exec_driver_sql("INSERT INTO lot (lot, filed_at) VALUES ('L-2', 't')")
    assert verify(store, None).broken == ()


def test_a_row_written_past_the_program_gets_no_link_later(copy: Path) -> None:
    """Whatever is filed after it: else anybody could have the program put its own seal to what they wrote."""
    past_the_program(copy, VERDICT.format("b").replace("R. Hale", "N. Body"))
    with closing(open_store(copy, walk=False)) as store:
        for number in (3, 4):
            file_result(store, to_file(made_tray(f"T-{number}")))
        with store.write() as connection:
            connection.exec_driver_sql(VERDICT.format("c").replace("R. Hale", "M. Okafor"))
        assert [broken.what for broken in verify(store, None).broken] == [
            "verdict 2 was not filed by the program: it has no link"
        ]


def test_a_write_that_fails_leaves_no_link(store: Store) -> None:
    set_lot_value(store, LOT, "temper", 4.0, "R. Hale")
    with store.read() as connection:
        before = head_of(connection)

    def two_of_which_one_is_refused() -> None:
        with store.write() as connection:
            connection.exec_driver_sql("INSERT INTO lot (lot, filed_at) VALUES ('L-1', 't')")
            connection.exec_driver_sql("DELETE FROM lot_value")

    with pytest.raises(Unusable, match="never changed"):
        two_of_which_one_is_refused()
    with store.read() as connection:
        assert head_of(connection) == before == Head(before.links, before.hash)
