"""What stands, against a plain truth in memory: random sequences of all that people and folders do to a store.

`python -m tests.store.standing_model 2000 --jobs 16` plays so many sequences by hand, with `--postgresql` on a server
of its own; `test_standing_model` plays a few. After each step: what stands, what waits, what goes to packing, what the
line was told, what is said of each lot and the sums kept of it agree with the truth.
"""

import argparse
import json
import shutil
import tempfile
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext, suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, seed as with_seed, settings, strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from sqlalchemy import event

from app.store.database import schema
from app.store.database.connection import Store, open_store
from app.store.line.outbox import make_messages, unsent
from app.store.lots.lot_list import list_lots
from app.store.lots.state import lot_state
from app.store.people.actor import Acted
from app.store.people.queue_lines import lay_out_all
from app.store.people.review_queue import waiting
from app.store.people.verdicts import NewVerdict, give
from app.store.people.wanted import Wanted
from app.store.results.filing import ToFile, file_tray
from app.store.results.recall import recall_results
from app.store.results.shots import Chosen, Undecided
from tests.store.made import LIMITS, PART, STATION, decide, made_piece, made_tray
from tests.store.postgresql_server import new_database, postgresql_server
from tests.store.standing_truth import PHOTOGRAPHS, WAYS, Photograph, Said, Truth, Word
from vision.records.judged import Digests, TrayResult

STEPS = 20


class Killed(BaseException):
    """What ends a program between any two of its statements."""


class StandingModel(RuleBasedStateMachine):
    """A store and the truth, side by side."""

    new_place: Callable[[], str]

    def __init__(self) -> None:
        super().__init__()
        self.place = type(self).new_place()
        self.store: Store = open_store(self.place)
        self.truth = Truth()
        self.clock = datetime(2026, 11, 2, 6, tzinfo=UTC)
        self.told: list[tuple[Any, ...]] = []
        self.decided: dict[str, tuple[str, frozenset[int], frozenset[Any]]] = {}

    def teardown(self) -> None:
        self.store.close()

    def _result(self, photograph: Photograph, way: int, at: datetime) -> TrayResult:
        pieces = [made_piece(n + 1, verdict, value) for n, (verdict, value) in enumerate(WAYS[way])]
        taken_at = f"2026-11-01T06:00:{photograph.frames:02}+00:00"
        digests = Digests("drawing", "station", "limits", f"frames {photograph.frames}")
        tray = made_tray(photograph.tray, pieces, photograph.lot, taken_at)
        return replace(tray, judged_at=at.isoformat(), digests=digests, retake=photograph.retake)

    def _file(self, photograph: Photograph, way: int, at: datetime, live: bool, chosen: str | None) -> None:
        word: Any = None if chosen is None else Chosen(chosen, "R. Hale", "seen")  # type: ignore[arg-type]
        result = self._result(photograph, way, at)
        tray = ToFile(result, (), PART, STATION, LIMITS, judged_now=live, chosen=word)
        try:
            with self.store.write() as connection:
                file_tray(connection, tray)
            filed = True
        except Undecided:
            filed = False
        assert filed == self.truth.judged(photograph, way, at, live, chosen)

    @rule(photograph=st.sampled_from(PHOTOGRAPHS), way=st.integers(0, len(WAYS) - 1))
    def judge(self, photograph: Photograph, way: int) -> None:
        self.clock += timedelta(minutes=1)
        self._file(photograph, way, self.clock, True, None)

    @rule(
        photograph=st.sampled_from(PHOTOGRAPHS),
        way=st.integers(0, len(WAYS) - 1),
        ago=st.integers(-2, 5),
        chosen=st.sampled_from([None, None, "move", "retake", "stand"]),
    )
    def bring_in_a_folder(self, photograph: Photograph, way: int, ago: int, chosen: str | None) -> None:
        self._file(photograph, way, self.clock - timedelta(minutes=ago), False, chosen)

    @rule(photograph=st.sampled_from(PHOTOGRAPHS), way=st.integers(0, len(WAYS) - 1), statements=st.integers(0, 50))
    def be_killed_while_filing(self, photograph: Photograph, way: int, statements: int) -> None:
        """Die after so many statements, or at the end of the transaction where there are fewer."""
        left = iter(range(statements))

        def count(*_of_a_statement: Any) -> None:
            if next(left, None) is None:
                raise Killed

        event.listen(self.store.writer, "before_cursor_execute", count)
        with suppress(Killed), self.store.write() as connection:
            with suppress(Undecided):
                file_tray(connection, ToFile(self._result(photograph, way, self.clock), (), PART, STATION, LIMITS))
            raise Killed
        event.remove(self.store.writer, "before_cursor_execute", count)

    @rule(hours=st.integers(-3, 3))
    def set_the_clock(self, hours: int) -> None:
        """The clock of those who judge, forward or back."""
        self.clock += timedelta(hours=hours)

    @rule(
        which=st.integers(0, 9),
        who=st.sampled_from(["R. Hale", "M. Okafor"]),
        word=st.sampled_from(["accept", "accept", "reject", "withdrawn"]),
        saw=st.sampled_from(["all", "all", "none", "an older one"]),
        clock_off_h=st.integers(-2, 2),
    )
    def say(self, which: int, who: str, word: Word, saw: str, clock_off_h: int) -> None:
        """Somebody judges a piece, by a clock of their own, having seen all that was said, or not."""
        keys = self.truth.standing_pieces()
        if not keys:
            return
        key = keys[which % len(keys)]
        on = self.truth.judgement(key)
        before = [one for one in self.truth.said if one.key == key]
        own = [one for one in before if one.who == who]
        if word == "withdrawn" and (not own or own[-1].word == "withdrawn"):
            return
        seen = before[-1] if before and saw == "all" else before[0] if before and saw == "an older one" else None
        piece_id, judgement_id = self._ids(key)
        uid, at = f"verdict-{len(self.truth.said)}", (self.clock + timedelta(hours=clock_off_h)).isoformat()
        given = NewVerdict(uid, piece_id, judgement_id, who, "declared", word, (), "", at)
        if word == "withdrawn":
            given = replace(given, takes_back=own[-1].uid)
        if seen is not None:
            given = replace(given, seen=seen.uid)
        assert give(self.store, given).outcome in ("stored", "corrected")
        assert give(self.store, given).outcome == "known"
        number = len(self.truth.said) + 1
        said = Said(number, uid, key, who, word, on, 0 if seen is None else seen.number)
        if own and (
            word == "withdrawn" or (own[-1].on == on and (own[-1].word == "withdrawn" or said.seen >= own[-1].number))
        ):
            own[-1].gone = True
        self.truth.said.append(said)

    @rule(lot=st.sampled_from(["A", "B"]), word=st.sampled_from(["release", "hold"]))
    def decide_on_a_lot(self, lot: str, word: Any) -> None:
        if any(one.lot == lot and self.truth.pieces(one) for one in self.truth.trays):
            decide(self.store, lot_state(self.store, lot).decision(word, Acted("R. Hale", "declared", "checked")))
            self.decided[lot] = (word, self.truth.told_of(lot), self._packed(lot))

    @rule()
    def restart(self) -> None:
        self.store.close()
        self.store = open_store(self.place)

    @rule()
    def make_the_queue_again(self) -> None:
        with self.store.write() as connection:
            lay_out_all(connection)

    def _ids(self, key: tuple[int, int]) -> tuple[int, int]:
        tray = self.truth.trays[key[0]]
        piece, stands, lot = schema.piece, schema.standing_piece, schema.lot
        query = (
            schema.tray.join(piece, piece.c.tray_id == schema.tray.c.id)
            .join(stands, stands.c.piece_id == piece.c.id)
            .outerjoin(lot, lot.c.id == schema.tray.c.lot_id)
            .select()
            .with_only_columns(stands.c.piece_id, stands.c.judgement_id)
            .where(schema.tray.c.tray == tray.tray, lot.c.lot.is_not_distinct_from(tray.lot), piece.c.piece == key[1])
        )
        with self.store.read() as connection:
            piece_id, judgement_id = connection.execute(query).one()
        return int(piece_id), int(judgement_id)

    def _packed(self, lot: str) -> frozenset[Any]:
        return frozenset(key for key in self.truth.of_lot(lot) if self.truth.packed(key))

    @invariant()
    def what_stands_agrees(self) -> None:
        found = {
            (one.tray, one.lot): [(p.piece, p.verdict, p.measures["outline_out_mm"]["bowl"]) for p in one.pieces]  # type: ignore[index,call-overload]
            for one in recall_results(self.store)
        }
        assert found == {
            (one.tray, one.lot): [(n + 1, *piece) for n, piece in enumerate(self.truth.pieces(one))]
            for one in self.truth.trays
        }

    @invariant()
    def what_waits_agrees(self) -> None:
        found = sorted((one.tray, one.lot, one.piece) for one in waiting(self.store, Wanted(), 1000))
        truth, trays = self.truth, self.truth.trays
        assert found == sorted(
            (trays[k].tray, trays[k].lot or "", n) for k, n in truth.standing_pieces() if truth.waits((k, n))
        )

    @invariant()
    def what_goes_to_packing_agrees(self) -> None:
        lots = {one.lot: one for one in list_lots(self.store)}
        truth = self.truth
        for lot in ("A", "B"):
            keys = truth.of_lot(lot)
            assert (lot in lots) == bool(keys)
            if not keys:
                continue
            state = lot_state(self.store, lot)
            said = [truth.judgement(key)[-1][0] for key in keys]
            kept = lots[lot]
            assert (kept.pieces, kept.trays) == (len(keys), len({tray for tray, _ in keys}))
            assert (kept.review, kept.reject) == (said.count("review"), said.count("reject"))
            assert state.figures.pieces == len(keys)
            assert state.figures.to_packing == len(self._packed(lot))
            if lot in self.decided:
                word, before, packed = self.decided[lot]
                if word == "release" and self._packed(lot) != packed:
                    assert state.standing.startswith("released, then "), state.standing
                if truth.told_of(lot) != before:
                    assert ", then " in state.standing, state.standing

    @invariant()
    def what_the_line_was_told_agrees(self) -> None:
        make_messages(self.store)
        told = [json.loads(one.payload) for one in unsent(self.store, 1000)]
        assert [one["sequence"] for one in told] == list(range(1, len(told) + 1))
        found = [[piece["verdict"] for piece in one["pieces"]] for one in told]
        assert found == [verdicts for _, _, verdicts in self.truth.line]


def play(sequences: int, steps: int, new_place: Callable[[], str], seed: int) -> None:
    """Play random sequences, each on a store of its own; a seed, the same sequences."""
    machine = type("Machine", (StandingModel,), {"new_place": staticmethod(new_place)})
    run_state_machine_as_test(  # type: ignore[no-untyped-call]
        with_seed(seed)(machine),
        settings=settings(
            max_examples=sequences,
            stateful_step_count=steps,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            phases=(Phase.generate,),  # the sequence as it failed: making it shorter takes longer than reading it
            database=None,
        ),
    )


def new_files(folder: Path) -> Callable[[], str]:
    """Empty SQLite stores, one in the place of another, copied from one made once."""
    first, place = folder / "first.sqlite", folder / "store.sqlite"
    open_store(first).close()

    def new_place() -> str:
        for ending in ("-wal", "-shm"):
            place.with_name(place.name + ending).unlink(missing_ok=True)
        shutil.copy(first, place)
        return str(place)

    return new_place


def _play_share(sequences: int, seed: int, server: str | None) -> None:
    """What one process plays."""
    count = iter(range(10**9))
    with tempfile.TemporaryDirectory() as folder:
        files = new_files(Path(folder))
        play(
            sequences, STEPS, files if server is None else lambda: new_database(server, f"s{seed}_{next(count)}"), seed
        )


def main(sequences: int, jobs: int, seed: int, on_postgresql: bool) -> None:
    """Play sequences in several processes."""
    shares = [sequences // jobs + (job < sequences % jobs) for job in range(jobs)]
    with postgresql_server() if on_postgresql else nullcontext() as server:
        url = None if server is None else server.url
        with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
            for done in [pool.submit(_play_share, share, seed + job, url) for job, share in enumerate(shares)]:
                done.result()
        where = "PostgreSQL" if on_postgresql else "SQLite"
        print(f"{sequences} sequences of up to {STEPS} steps on {where} (seeds from {seed}) agree with the truth")


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("sequences", type=int)
    asked.add_argument("--jobs", type=int, default=1)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--postgresql", dest="on_postgresql", action="store_true")
    main(**vars(asked.parse_args()))
