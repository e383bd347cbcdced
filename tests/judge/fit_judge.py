"""Fit a judge of marks to gathered examples, and print how it does on others.

    python -m tests.judge.fit_judge OUT.toml --fit A.pickle.gz B.pickle.gz [--lines C.pickle.gz] [--try D.pickle.gz ...]

A judge that surely loses against the one that comes with the program, on any of the suites tried, is not written. Needs
scikit-learn. Faces in `--lines` serve the lines alone (their spots' features are of an earlier state). The same
files give the same judge, to the last digit.
"""

import argparse
import gzip
import hashlib
import pickle
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from app.run.teaching import on_suites
from tests.judge.examples import NONE, Example
from tests.judge.figures import figures_of, print_figures
from tests.judge.fit import Table, fitted
from vision.face.described import SPOTS
from vision.face.judging import judged_by
from vision.face.lines.features import LINE_FEATURES
from vision.face.spots.features import SPOT_FEATURES
from vision.formats import shipped_judge, write_judge
from vision.records import JudgeSuite, MarkJudge, SeenCurve

# The sieve keeps so much of the real pits that the fit knew.
_KEPT_BY_SIEVE = 0.99
# A path-traced face weighs as much as so many of our own renderer's.
_TRACED_WEIGHT = 3.0
# The chance of being found by expected snr (docs/benchmarks/face-seen.md).
_SCRATCH_SEEN = SeenCurve(2.4596, 0.2, 0.985)
_PIT_SEEN = SeenCurve(2.3514, 0.22, 0.985)


def read_examples(paths: Sequence[Path]) -> list[Example]:
    """Examples of several files, in their order, each face once."""
    found: dict[str, Example] = {}
    for path in paths:
        for one in pickle.loads(gzip.decompress(path.read_bytes())):
            found.setdefault(one.name, one)
    return list(found.values())


def table_of(
    examples: Sequence[Example], pick: Callable[[Example], tuple[NDArray[np.float32], NDArray[np.int8]]]
) -> Table:
    """The candidates that `pick` takes of each example with their truth, those beside the question left out."""
    features, real, face, weight = [], [], [], []
    for number, one in enumerate(examples):
        these, truth = pick(one)
        use = truth >= NONE
        if not use.any():
            continue
        features.append(these[use])
        real.append(truth[use])
        face.append(np.full(use.sum(), number))
        weight.append(np.full(use.sum(), 1.0 if one.name.startswith("own-") else _TRACED_WEIGHT))
    stacked = [np.concatenate(part) for part in (features, real, face, weight)]
    return Table(stacked[0].astype(np.float64), stacked[1].astype(np.int8), stacked[2], stacked[3])


def fit_judge(examples: Sequence[Example], lines_too: Sequence[Example], made: Sequence[str]) -> MarkJudge:
    """Fit all models of a judge."""
    lines = fitted(table_of([*examples, *lines_too], lambda e: (e.line_features, e.line_truth)), LINE_FEATURES)
    plain = len(SPOT_FEATURES)
    sieve_table = table_of(examples, lambda e: (e.spot_features[:, :plain], e.spot_truth))
    # by the sum itself: a calibrated chance has a floor, below which nothing could be left out
    sieve = replace(fitted(sieve_table, SPOT_FEATURES), calibration=())
    passing = judged_by(sieve, sieve_table.features[sieve_table.real == 1], SPOT_FEATURES).chance
    least = float(np.floor(np.quantile(passing, 1 - _KEPT_BY_SIEVE) * 1e5) / 1e5)

    def sieved(one: Example, truth: NDArray[np.int8]) -> tuple[NDArray[np.float32], NDArray[np.int8]]:
        if not len(one.spot_features):
            return one.spot_features, truth
        chance = judged_by(sieve, one.spot_features[:, :plain].astype(np.float64), SPOT_FEATURES).chance
        return one.spot_features, np.where(chance >= least, truth, -1).astype(np.int8)

    spots = fitted(table_of(examples, lambda e: sieved(e, e.spot_truth)), SPOTS)
    dusty = table_of(examples, lambda e: sieved(e, np.where(e.spot_truth == NONE, e.dust, -1)))
    dust = fitted(dusty, [_either(one) for one in SPOTS])
    return MarkJudge(1, "released", lines, sieve, least, spots, dust, _SCRATCH_SEEN, _PIT_SEEN, "", tuple(made))


def _either(feature):
    """A feature that may speak either way: what tells pits need not tell dust."""
    return type(feature)(feature.name, feature.meaning)


def suites_of(name: str, examples: Sequence[Example]) -> tuple[JudgeSuite, JudgeSuite]:
    """The candidates of examples as suites: what `vision/judge_suites.npz` holds of those that no fit used."""
    lines = table_of(examples, lambda e: (e.line_features, e.line_truth))
    spots = table_of(examples, lambda e: (e.spot_features, e.spot_truth))
    return (
        JudgeSuite(name, "lines", lines.features, lines.real == 1),
        JudgeSuite(name, "spots", spots.features, spots.real == 1),
    )


def _named(paths: Sequence[Path], what: str) -> list[str]:
    return [
        f"{what}: {path.name}, {len(read_examples([path]))} faces, "
        f"blake2b {hashlib.blake2b(path.read_bytes(), digest_size=8).hexdigest()}"
        for path in paths
    ]


def main() -> None:
    """Fit, write, and print figures."""
    ask = argparse.ArgumentParser()
    ask.add_argument("out", type=Path)
    ask.add_argument("--fit", type=Path, nargs="+", required=True)
    ask.add_argument("--lines", type=Path, nargs="*", default=[])
    ask.add_argument("--try", dest="tried", type=Path, nargs="*", default=[])
    asked = ask.parse_args()
    made = [*_named(asked.fit, "fitted on"), *_named(asked.lines, "lines fitted on")]
    judge = fit_judge(read_examples(asked.fit), read_examples(asked.lines), made)
    losses = []
    for path in asked.tried:
        examples = read_examples([path])
        print_figures(path.name, figures_of(judge, examples))
        losses += [one.loses for one in on_suites(shipped_judge(), judge, suites_of(path.name, examples)) if one.loses]
    if losses:
        raise SystemExit(f"not written: {'; '.join(losses)}")
    write_judge(judge, asked.out)


if __name__ == "__main__":
    main()
