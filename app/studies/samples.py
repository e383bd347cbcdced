"""What people said of a lot, and how the pieces that they judged were chosen: by a design, or nobody knows how."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from app.studies.camera_and_people import Answers, PersonVerdict, PieceKey, Weighting, answers
from vision.records import Verdict

ALL_PIECES = "all"
FLAGGED = "flagged"
"""Strata besides the camera's verdicts: of a round drawn at random, and of rounds begun before designs were kept."""

Given = Literal["blind", "table", "in sight"]
"""How verdicts were given: in a blind round; in a table brought from elsewhere; with the camera's verdict in sight."""


@dataclass(frozen=True, slots=True)
class Stratum:
    """A part of the lot from which pieces were drawn at random: how many it had, and how many were drawn."""

    name: str
    size: int
    drawn: int

    @property
    def words(self) -> str:
        """As `200 of 7591 passed`."""
        of = {ALL_PIECES: "", "pass": " passed", "review": " in review", "reject": " rejected", FLAGGED: " flagged"}
        return f"{self.drawn} of {self.size}{of[self.name]}"


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """Pieces of a lot and what people said of them.

    `strata` are empty where nobody knows how the pieces came to be judged; `stratum_of` says from which a piece was
    drawn. `kept`: whether the design was written down when the round was begun, or follows from what the store holds.
    `begun`: when a blind round was begun, and by whom.
    """

    name: str
    given: Given
    verdicts: tuple[PersonVerdict, ...]
    strata: tuple[Stratum, ...] = ()
    stratum_of: Mapping[PieceKey, str] | None = None
    kept: bool = True
    begun: str = ""

    @property
    def held(self) -> str:
        """Who judged and when, by the clocks of their browsers, in a sentence; empty where nobody did.

        Of a table only who: a store dates its verdicts by when they were brought in.
        """
        people = Counter(one.inspector for one in self.verdicts)
        if not people:
            return ""
        dated = () if self.given == "table" else self.verdicts
        days = sorted(one.given_at[:10] for one in dated if one.given_at)
        when = "" if not days else f", {days[0]}" + (f" to {days[-1]}" if days[-1] != days[0] else "")
        counts = ", ".join(f"{name} ({count} verdicts)" for name, count in sorted(people.items()))
        return f"{f'Begun {self.begun}; j' if self.begun else 'J'}udged by {counts}{when}."

    @property
    def words(self) -> str:
        """How the pieces came to be judged, in a sentence."""
        if not self.strata:
            kind = {
                "table": "These verdicts come from a table, which does not say how its pieces were chosen: they were "
                "taken for a random sample of the lot.",
                "in sight": "These are all verdicts that stand, those given with the camera's verdict in sight among "
                "them: people who see what it says tend to agree, and it chose the pieces that they saw. They were "
                "taken for a random sample of the lot.",
                "blind": "No piece of this lot was drawn.",
            }
            return kind[self.given]
        drawn = ", ".join(stratum.words for stratum in self.strata)
        if not self.kept:
            return (
                f"Blind round {self.name} was begun before its design was kept: it was taken as drawn at random within "
                f"flagged and passed pieces, {drawn} by what the store held then, each counted as often as it stands "
                "for others."
            )
        if self.strata[0].name == ALL_PIECES:
            return f"Blind round {self.name}: {drawn} pieces, drawn at random."
        return (
            f"Blind round {self.name}: {drawn}, drawn at random within each of the camera's verdicts; each counted as "
            "often as it stands for others."
        )


def answers_of(judged: Mapping[PieceKey, Verdict], samples: Sequence[Sample]) -> Answers:
    """Bring the camera's verdicts and people's together, each sample by its own design.

    A piece of two rounds stands twice; each round speaks for the lot by its share of the pieces judged.
    """
    parts = [answers(judged, sample.verdicts) for sample in samples]
    designed = [(sample, part) for sample, part in zip(samples, parts, strict=True) if sample.strata]
    if not designed:
        (only,) = parts or [answers(judged, ())]
        return only
    return _together([_weighted(sample, part) for sample, part in designed])


def _weighted(sample: Sample, said: Answers) -> Answers:
    """The answers of one round with its strata; pieces that it did not draw are left out."""
    assert sample.stratum_of is not None
    places = {stratum.name: k for k, stratum in enumerate(sample.strata)}
    at = np.array([places.get(sample.stratum_of.get(key, ""), -1) for key in said.pieces], dtype=np.int64)
    sizes = np.array([stratum.size for stratum in sample.strata], dtype=np.float64)
    names = tuple(stratum.name for stratum in sample.strata)
    return said.rows(np.flatnonzero(at >= 0), Weighting(at[at >= 0], sizes, names))


def _together(rounds: Sequence[Answers]) -> Answers:
    """Several rounds as one: their strata side by side, each round's sizes by the pieces that it gives."""
    if len(rounds) == 1:
        return rounds[0]
    total = sum(len(one.pieces) for one in rounds)
    names = tuple(sorted({name for one in rounds for name in one.inspectors}))
    most = max(one.rounds.shape[2] for one in rounds)
    said, at, sizes = [], [], []
    strata: list[str] = []
    defects: dict[tuple[int, int], frozenset[str]] = {}
    offset = begin = 0
    for one in rounds:
        place = [names.index(name) for name in one.inspectors]
        wide = np.full((len(one.pieces), len(names), most), -1, dtype=np.int8)
        wide[:, place, : one.rounds.shape[2]] = one.rounds
        said.append(wide)
        defects |= {(begin + i, place[j]): words for (i, j), words in one.defects.items()}
        weighting = one.weighting
        assert weighting is not None
        at.append(weighting.stratum + offset)
        sizes.append(weighting.sizes * len(one.pieces) / max(total, 1))
        strata += weighting.names
        begin, offset = begin + len(one.pieces), offset + len(weighting.names)
    return Answers(
        pieces=tuple(key for one in rounds for key in one.pieces),
        camera=tuple(verdict for one in rounds for verdict in one.camera),
        inspectors=names,
        rounds=np.concatenate(said),
        defects=defects,
        unknown=tuple(left for one in rounds for left in one.unknown),
        without_verdict=min(one.without_verdict for one in rounds),
        weighting=Weighting(np.concatenate(at), np.concatenate(sizes), tuple(strata)),
    )


def design_table(samples: Iterable[Sample]) -> dict[str, object]:
    """How the pieces came to be judged, as files have it."""
    listed = tuple(samples)
    return {
        "given": listed[0].given if listed else None,
        "words": [sample.words for sample in listed],
        "held": [sample.held for sample in listed],
        "rounds": [
            {
                "round": sample.name,
                "kept": sample.kept,
                "strata": [{"stratum": s.name, "size": s.size, "drawn": s.drawn} for s in sample.strata],
            }
            for sample in listed
            if sample.strata
        ],
    }
