"""How a judge of marks does on examples: found, false, and whether its chances are true."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tests.judge.examples import NONE, Example
from tests.truth.polished_score import PieceScore, found_at, score_piece, table
from vision.face.described import MarkChances, mark_chances
from vision.face.score import is_part
from vision.records import LIKELY, MarkJudge, Pit, Scratch

_BANDS = (0.0, 0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)
# Fewer than this in a band say nothing of its chance.
_LEAST_IN_BAND = 30


@dataclass(frozen=True, slots=True, eq=False)
class Figures:
    """Scores by piece at a chance of one half, and of all candidates; `told` and `real` (candidates,) of all."""

    likely: list[PieceScore]
    swept: list[PieceScore]
    told: NDArray[np.float64]
    real: NDArray[np.int8]


def chances_of(judge: MarkJudge, one: Example) -> MarkChances:
    """Judge an example's candidates."""
    return mark_chances(judge, one.line_features.astype(np.float64), one.spot_features.astype(np.float64))


def findings_at(one: Example, chances: MarkChances, least: float) -> list[Scratch | Pit]:
    """What is told of an example from a chance on; `snr` holds the chance, by which figures are swept."""
    told = [replace(s, probability=p, snr=p) for s, p in zip(one.scratches, chances.lines.tolist(), strict=True)]
    likely = [s for s in told if s.likely]
    spots = [replace(s, probability=p, snr=p) for s, p in zip(one.pits, chances.spots.tolist(), strict=True)]
    spots = [p for p in spots if not any(is_part(p, s) for s in likely)]
    return [f for f in (*told, *spots) if (f.probability or 0.0) >= least]


def figures_of(judge: MarkJudge, examples: Sequence[Example]) -> Figures:
    """Judge examples and hold what is told against their truth."""
    likely, swept, told, real = [], [], [], []
    for one in examples:
        chances = chances_of(judge, one)
        for scores, least in ((likely, LIKELY), (swept, 0.003)):
            score = score_piece(one.piece, findings_at(one, chances, least), one.scored)
            score.name = one.name
            scores.append(score)
        told.append(np.concatenate((chances.lines, chances.spots)))
        real.append(np.concatenate((one.line_truth, one.spot_truth)))
    return Figures(likely, swept, np.concatenate(told), np.concatenate(real))


def print_figures(name: str, figures: Figures) -> None:
    """Print what is asked of a judge."""
    print(f"{name}: {len(figures.likely)} pieces")
    print("    " + " ".join(f"{key} {value:.3g}" for key, value in table(figures.likely).items()))
    for kind in ("scratch", "pit"):
        share, chance = found_at(figures.swept, kind)
        print(f"    {kind} at 0.1 false a piece: {share:.3f}, chance over {chance:.3f}")
    use = figures.real >= NONE
    told, real = figures.told[use], figures.real[use]
    for low, high in pairwise(_BANDS):
        band = (told >= low) & ((told < high) | (high == _BANDS[-1]))
        few = "" if band.sum() >= _LEAST_IN_BAND else " (few)"
        if band.any():
            print(f"    told {low:.2f} to {high:.2f}: {band.sum()} candidates, mean {told[band].mean():.3f}, ", end="")
            print(f"real {real[band].mean():.3f}{few}")
