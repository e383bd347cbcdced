"""What the camera and people said of the same pieces, side by side."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from vision.records import Verdict

ACCEPT, REJECT, TIE, NO_VERDICT = 0, 1, 2, -1


class PieceKey(NamedTuple):
    """A piece's place: its tray and its number on it."""

    tray: str
    piece: int


class PersonVerdict(Protocol):
    """What a study reads of one person's verdict, whether it comes from a file or from the store."""

    @property
    def tray(self) -> str:
        """The piece's tray."""

    @property
    def piece(self) -> int:
        """The piece's number on it."""

    @property
    def inspector(self) -> str:
        """Who."""

    @property
    def round(self) -> int:
        """Which repeat of the same inspector, from 1."""

    @property
    def verdict(self) -> Literal["accept", "reject"]:
        """What they said."""

    @property
    def given_at(self) -> str | None:
        """When, ISO 8601; empty or None where nobody knows."""

    @property
    def defects(self) -> tuple[str, ...]:
        """Kinds of defect that they named."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A piece that a study, or the comparison with the majority, could not take in, and why."""

    tray: str
    piece: int
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class Weighting:
    """From which stratum of the lot each piece was drawn.

    Attributes
    ----------
    stratum
        (pieces,) index of the stratum.
    sizes
        (strata,) pieces of the lot that each stratum speaks for.
    names
        Of the strata; `pass`, `review`, `reject` where the camera's verdict told them apart.
    """

    stratum: NDArray[np.int64]
    sizes: NDArray[np.float64]
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Answers:
    """Verdicts on the pieces that both the camera and at least one person judged.

    Attributes
    ----------
    pieces
        In the order of the results.
    camera
        The camera's verdict on each.
    inspectors
        By name.
    rounds
        (pieces, inspectors, rounds) of ACCEPT, REJECT or NO_VERDICT: each inspector's verdicts on a piece in the order
        of their rounds, filled from the front.
    defects
        (piece index, inspector index) -> kinds that the inspector named in the first of those rounds.
    unknown
        Verdicts on pieces that are in no result.
    without_verdict
        How many pieces of the results nobody judged.
    weighting
        How the pieces were drawn; None where they are taken for a random sample.
    """

    pieces: tuple[PieceKey, ...]
    camera: tuple[Verdict, ...]
    inspectors: tuple[str, ...]
    rounds: NDArray[np.int8]
    defects: Mapping[tuple[int, int], frozenset[str]]
    unknown: tuple[LeftOut, ...]
    without_verdict: int
    weighting: Weighting | None = None

    def rows(self, at: NDArray[np.int64], weighting: Weighting) -> "Answers":
        """Some of the pieces, by their places, with how they were drawn."""
        new = {int(old): k for k, old in enumerate(at)}
        return replace(
            self,
            pieces=tuple(self.pieces[i] for i in at),
            camera=tuple(self.camera[i] for i in at),
            rounds=self.rounds[at],
            defects={(new[i], j): words for (i, j), words in self.defects.items() if i in new},
            weighting=weighting,
        )

    @property
    def first(self) -> NDArray[np.int8]:
        """(pieces, inspectors): each inspector's first verdict; later rounds only tell how steady they are."""
        return self.rounds[:, :, 0]

    @property
    def passed(self) -> NDArray[np.bool_]:
        """(pieces,): whether the camera passed; review counts as not passed."""
        return np.array([verdict == "pass" for verdict in self.camera], dtype=np.bool_)

    @property
    def reviewed(self) -> NDArray[np.bool_]:
        """(pieces,): whether the camera sent it to review."""
        return np.array([verdict == "review" for verdict in self.camera], dtype=np.bool_)


def answers(judged: Mapping[PieceKey, Verdict], verdicts: Iterable[PersonVerdict]) -> Answers:
    """Bring the camera's verdicts and people's together.

    Parameters
    ----------
    judged
        The camera's verdict on every piece of the results.
    verdicts
        At most one of an inspector on a piece in a round.

    Returns
    -------
    Answers
        Verdicts of camera and people on the same pieces, and verdicts on pieces that are not there.
    """
    given: dict[PieceKey, dict[str, list[PersonVerdict]]] = defaultdict(lambda: defaultdict(list))
    for one in sorted(verdicts, key=lambda verdict: verdict.round):
        given[PieceKey(one.tray, one.piece)][one.inspector].append(one)
    pieces = tuple(key for key in judged if key in given)
    inspectors = tuple(sorted({name for key in pieces for name in given[key]}))
    most = max((len(said) for key in pieces for said in given[key].values()), default=1)
    rounds = np.full((len(pieces), len(inspectors), most), NO_VERDICT, dtype=np.int8)
    defects: dict[tuple[int, int], frozenset[str]] = {}
    for i, key in enumerate(pieces):
        for j, name in enumerate(inspectors):
            said = given[key].get(name, [])
            for k, one in enumerate(said):
                rounds[i, j, k] = REJECT if one.verdict == "reject" else ACCEPT
            if said:
                defects[i, j] = frozenset(said[0].defects)
    unknown = tuple(
        LeftOut(key.tray, key.piece, "no such piece in the results") for key in sorted(given) if key not in judged
    )
    return Answers(
        pieces=pieces,
        camera=tuple(judged[key] for key in pieces),
        inspectors=inspectors,
        rounds=rounds,
        defects=defects,
        unknown=unknown,
        without_verdict=len(judged) - len(pieces),
    )


def majority_or_tie(said: NDArray[np.int8]) -> NDArray[np.int8]:
    """(pieces,): as `majority`, with TIE for a tie."""
    tied = (majority(said) == NO_VERDICT) & (said != NO_VERDICT).any(axis=1)
    found: NDArray[np.int8] = np.where(tied, TIE, majority(said)).astype(np.int8)
    return found


def majority(said: NDArray[np.int8]) -> NDArray[np.int8]:
    """(pieces,): what most of the inspectors in (pieces, inspectors) said; NO_VERDICT for a tie or no verdict.

    Parameters
    ----------
    said
        (pieces, inspectors) codes of what each said.

    Returns
    -------
    NDArray[np.int8]
        (pieces,) codes.
    """
    lead = (said == REJECT).sum(axis=1) - (said == ACCEPT).sum(axis=1)
    found: NDArray[np.int8] = np.select([lead > 0, lead < 0], [REJECT, ACCEPT], NO_VERDICT).astype(np.int8)
    return found


def ties(said: Answers) -> tuple[LeftOut, ...]:
    """The pieces on which as many inspectors accept as reject."""
    lost = np.flatnonzero(majority(said.first) == NO_VERDICT)
    return tuple(LeftOut(*said.pieces[i], "tie between the inspectors") for i in lost)
