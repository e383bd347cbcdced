"""What stands, against a plain truth in memory: random sequences of all that people and folders do to a store.

`python -m tests.store.standing_model 2000 [postgresql://...]` plays so many sequences by hand; `test_standing_model`
plays a few. After each step: what stands, what waits, what goes to packing, what the line was told, and what is said of
each lot agree with the truth.
"""

import json
import shutil
import sys
import tempfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

from hypothesis import HealthCheck, settings, strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from app.store.database import schema
from app.store.database.connection import Store, open_store
from app.store.line.outbox import make_messages, unsent
from app.store.lots.decisions import decide
from app.store.lots.lot_list import list_lots
from app.store.lots.state import lot_state
from app.store.people.actor import Acted
from app.store.people.queue_lines import rebuild
from app.store.people.review_queue import Wanted, waiting
from app.store.people.verdicts import NewVerdict, give
from app.store.results.filing import ToFile, file_tray
from app.store.results.recall import recall_results
from app.store.results.shots import Chosen, Undecided
from tests.store.made import LIMITS, PART, STATION, made_piece, made_tray
from vision.records.judged import Digests, TrayResult, Verdict

GUARD_MM = 1.6448536 * 0.011
"""Guard band of the made pieces' outline value: the normal quantile of 0.95, from any table, times its uncertainty."""
RANK = {"pass": 0, "review": 1, "reject": 2}
Word = Literal["accept", "reject", "withdrawn"]

WAYS: tuple[tuple[tuple[Verdict, float], ...], ...] = (
    (("pass", 0.1), ("review", 0.1)),
    (("reject", 0.31), ("reject", 0.31)),  # a wrong station: all reject
    (("reject", 0.32), ("pass", 0.1)),  # within the guard band of the one before
    (("reject", 0.9), ("review", 0.1), ("pass", 0.1)),
    (("review", 0.1),),
)
"""What a judging may come to: verdict and outward deviation (mm) of each piece."""


@dataclass(frozen=True)
class Photograph:
    """A shot as shot.json has it; `frames` tells one from another."""

    tray: str
    lot: str | None
    frames: int
    retake: bool = False


PHOTOGRAPHS = (
    Photograph("T-1", "A", 1),
    Photograph("T-1", "B", 2),  # the name again, in another lot
    Photograph("T-1", "A", 3, retake=True),
    Photograph("T-1", "A", 4),  # the name again in the same lot, and nobody said why
    Photograph("T-1", "B", 1),  # the first shot, claimed by another lot
    Photograph("T-2", "A", 1),  # the first shot under another name
    Photograph("T-2", None, 5),
    Photograph("T-2", "A", 5),  # that shot with a lot
)


@dataclass(eq=False)
class Judging:
    """One judging of a shot that stood for its shot."""

    said: tuple[str | None, int]  # the lot that the result names, and the way it was judged
    judged_at: datetime


@dataclass(eq=False)
class TrueShot:
    frames: int
    acts: list[Judging] = field(default_factory=list)
    filed: set[tuple[tuple[str | None, int], datetime]] = field(default_factory=set)


@dataclass(eq=False)
class Tray:
    tray: str
    lot: str | None
    shots: list[TrueShot]
    born_retake: bool

    def stands(self) -> tuple[TrueShot, Judging] | None:
        shot = next((one for one in reversed(self.shots) if one.acts), None)
        return None if shot is None else (shot, shot.acts[-1])


@dataclass(eq=False)
class Said:
    number: int
    uid: str
    key: tuple[int, int]  # the tray (by its place in the truth) and the piece
    who: str
    word: Word
    on: Any  # what was judged: shot, what the result said, the piece's verdict and value
    seen: int
    gone: bool = False


class Truth:
    """The rules once more, written for being read, with no database."""

    def __init__(self) -> None:
        self.trays: list[Tray] = []
        self.line: list[tuple[Any, ...]] = []
        self.said: list[Said] = []

    def judged(self, photograph: Photograph, way: int, at: datetime, live: bool, chosen: str | None) -> bool:
        """Take a result in; False where only a person can say what it is."""
        home = next((one for one in self.trays if (one.tray, one.lot) == (photograph.tray, photograph.lot)), None)
        tray = next((one for one in self.trays for s in one.shots if s.frames == photograph.frames), None)
        moved = False
        if tray is not None:
            shot = next(one for one in tray.shots if one.frames == photograph.frames)
            if tray is not home:
                if chosen != "move" or home is not None:
                    return False
                tray.tray, tray.lot, moved = photograph.tray, photograph.lot, True
        else:
            shot = TrueShot(photograph.frames)
            if home is None:
                tray = Tray(photograph.tray, photograph.lot, [shot], photograph.retake)
                self.trays.append(tray)
            elif photograph.retake or chosen == "retake":
                tray = home
                tray.shots.append(shot)
            elif home.born_retake and photograph.frames < min(one.frames for one in home.shots):
                tray = home
                tray.shots.insert(0, shot)
            else:
                return False
        self._act(tray, shot, Judging((photograph.lot, way), at), live, chosen == "stand", moved)
        return True

    def _act(self, tray: Tray, shot: TrueShot, act: Judging, live: bool, asked: bool, moved: bool) -> None:
        before, last = self.shown(tray), shot.acts[-1] if shot.acts else None
        same, known = last is not None and last.said == act.said, (act.said, act.judged_at) in shot.filed
        later = last is not None and act.judged_at > last.judged_at
        if not same and (last is None or live or asked or (later and not known)):
            shot.acts.append(act)
        if not same or moved:
            shot.filed.add((act.said, act.judged_at))
        if self.shown(tray) != before or moved:
            self.line.append((tray.tray, tray.lot, [verdict for verdict, _ in self.pieces(tray)]))

    def shown(self, tray: Tray) -> Any:
        found = tray.stands()
        return None if found is None else (found[0].frames, found[1].said)

    def pieces(self, tray: Tray) -> tuple[tuple[Verdict, float], ...]:
        found = tray.stands()
        return () if found is None else WAYS[found[1].said[1]]

    def judgement(self, key: tuple[int, int]) -> Any:
        """What stands of a piece; None where a newer shot or judging does not show it."""
        tray, pieces = self.trays[key[0]], self.pieces(self.trays[key[0]])
        return (*self.shown(tray), pieces[key[1] - 1]) if key[1] <= len(pieces) else None

    def standing_pieces(self) -> list[tuple[int, int]]:
        return [(k, n + 1) for k, tray in enumerate(self.trays) for n in range(len(self.pieces(tray)))]

    def people(self, key: tuple[int, int]) -> tuple[str | None, bool]:
        """The word that counts on a piece, and whether people differ."""
        on = [one for one in self.said if one.key == key and not one.gone and one.word != "withdrawn"]
        left = [one for one in on if not any(other.number > one.number and other.seen >= one.number for other in on)]
        rejects = [one for one in left if one.word == "reject"]
        accepts = [one for one in left if one.word == "accept" and nothing_worse(self.judgement(key), one.on)]
        word = "reject" if rejects else "accept" if accepts else None
        return word, bool(rejects and accepts)

    def waits(self, key: tuple[int, int]) -> bool:
        word, differ = self.people(key)
        return differ or (self.judgement(key)[-1][0] != "pass" and word is None)

    def packed(self, key: tuple[int, int]) -> bool:
        word, _ = self.people(key)
        return word != "reject" and (self.judgement(key)[-1][0] == "pass" or word == "accept")


def nothing_worse(now: Any, then: Any) -> bool:
    if now == then:
        return True
    (verdict, value), (old, old_value) = now[-1], then[-1]
    if verdict == "pass":
        return True
    if RANK[verdict] > RANK[old]:
        return False
    return bool(verdict != "reject" or value <= old_value + GUARD_MM)


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
        self.decided: dict[str, tuple[str, int, frozenset[Any]]] = {}

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

    @rule(photograph=st.sampled_from(PHOTOGRAPHS), way=st.integers(0, len(WAYS) - 1))
    def be_killed_while_filing(self, photograph: Photograph, way: int) -> None:
        class Killed(BaseException):
            pass

        try:
            with self.store.write() as connection:
                with suppress(Undecided):
                    file_tray(connection, ToFile(self._result(photograph, way, self.clock), (), PART, STATION, LIMITS))
                raise Killed
        except Killed:
            pass

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
        uid = f"verdict-{len(self.truth.said)}"
        given = NewVerdict(
            uid,
            piece_id,
            judgement_id,
            who,
            "declared",
            word,
            (),
            "",
            (self.clock + timedelta(hours=clock_off_h)).isoformat(),
            takes_back=own[-1].uid if word == "withdrawn" else None,
            seen=None if seen is None else seen.uid,
        )
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
            told = sum(1 for one in self.truth.line if one[1] == lot)
            self.decided[lot] = (word, told, self._packed(lot))

    @rule()
    def restart(self) -> None:
        self.store.close()
        self.store = open_store(self.place)

    @rule()
    def make_the_queue_again(self) -> None:
        rebuild(self.store)

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
        return frozenset(
            key
            for key in self.truth.standing_pieces()
            if self.truth.trays[key[0]].lot == lot and self.truth.packed(key)
        )

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
            keys = [key for key in truth.standing_pieces() if truth.trays[key[0]].lot == lot]
            assert (lot in lots) == bool(keys)
            if not keys:
                continue
            state = lot_state(self.store, lot)
            assert (lots[lot].pieces, state.figures.pieces) == (len(keys), len(keys))
            assert state.figures.to_packing == len(self._packed(lot))
            told = [one for one in truth.line if one[1] == lot]
            if lot in self.decided:
                word, before, packed = self.decided[lot]
                if word == "release" and self._packed(lot) != packed:
                    assert state.standing.startswith("released, then "), state.standing
                if len(told) > before:
                    assert ", then " in state.standing, state.standing

    @invariant()
    def what_the_line_was_told_agrees(self) -> None:
        make_messages(self.store)
        told = [json.loads(one.payload) for one in unsent(self.store, 1000)]
        assert [one["sequence"] for one in told] == list(range(1, len(told) + 1))
        found = [[piece["verdict"] for piece in one["pieces"]] for one in told]
        assert found == [verdicts for _, _, verdicts in self.truth.line]


def play(sequences: int, steps: int, new_place: Callable[[], str], derandomize: bool) -> None:
    """Play random sequences, each on a store of its own."""
    machine = type("Machine", (StandingModel,), {"new_place": staticmethod(new_place)})
    run_state_machine_as_test(  # type: ignore[no-untyped-call]
        machine,
        settings=settings(
            max_examples=sequences,
            stateful_step_count=steps,
            deadline=None,
            derandomize=derandomize,
            suppress_health_check=list(HealthCheck),
            database=None,
        ),
    )


def new_files(folder: Path) -> Callable[[], str]:
    """Empty SQLite stores, one after another, copied from one made once."""
    first = folder / "first.sqlite"
    open_store(first).close()
    count = iter(range(10**9))

    def new_place() -> str:
        place = folder / f"{next(count)}.sqlite"
        shutil.copy(first, place)
        return str(place)

    return new_place


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as kept:
        play(int(sys.argv[1]), 20, new_files(Path(kept)), derandomize=False)
    print(f"{sys.argv[1]} sequences agree with the truth")
