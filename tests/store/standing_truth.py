"""What stands, waits, is packed and is told to the line: the rules once more, written for being read, in memory."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from vision.records.judged import Verdict

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
    """All that happened so far, and what follows from it."""

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
            self.line.append((tray, tray.lot, [verdict for verdict, _ in self.pieces(tray)]))

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

    def told_of(self, lot: str) -> frozenset[int]:
        """What the line was told of the trays that are in a lot now, while they were in it."""
        return frozenset(number for number, one in enumerate(self.line) if one[0].lot == one[1] == lot)

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

    def of_lot(self, lot: str) -> list[tuple[int, int]]:
        """The pieces that stand in a lot."""
        return [key for key in self.standing_pieces() if self.trays[key[0]].lot == lot]

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
