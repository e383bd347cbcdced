"""The smallest bumps and cracks that are told: `.venv/bin/python -m tests.altered.smallest [--places N] [--jobs N]`.

Each kind is drawn by exact area on good own pieces, at `--places` places round the rim or in the bowl for each width.
Told is what leaves a finding of the outline (burr, nick, opening, stray). False are such findings on untouched pieces;
the rule of three says how rare they are where none was seen. A minute a place on one core.
"""

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np

from tests.altered.backlit import BACKLIT
from tests.altered.bench import own_tray
from vision.pipeline import inspect_tray
from vision.records import EdgeFinding, MeasuredPiece, Opening, Stray

# What is drawn: the alteration, what its strength is called, and the strengths tried (mm).
_KINDS = {
    "whisker": ("width of 1.5 mm", (0.02, 0.03, 0.05, 0.08, 0.12)),
    "short whisker": ("width of 0.5 mm", (0.03, 0.05, 0.08, 0.12, 0.2)),
    "fin": ("height, 0.8 mm at its root", (0.05, 0.1, 0.15, 0.2, 0.3)),
    "flap": ("width, 1 mm high", (0.05, 0.1, 0.2, 0.4)),
    "rolled-over edge": ("thickness, 1.5 mm along", (0.05, 0.1, 0.15, 0.2)),
    "saw teeth standing out": ("height of six", (0.05, 0.1, 0.15, 0.2, 0.3)),
    "saw teeth cut in": ("depth of six", (0.05, 0.1, 0.15, 0.2, 0.3)),
    "crack from the rim": ("width, 3 mm deep", (0.01, 0.02, 0.03, 0.05, 0.1)),
    "slit in the bowl": ("width of 5 mm", (0.01, 0.02, 0.03, 0.05)),
    "hole in the bowl": ("diameter", (0.1, 0.15, 0.2, 0.25, 0.3)),
}
_FOUND_SHARE = 0.9


@dataclass(frozen=True, slots=True)
class _Job:
    """One kind at one width at one place; `kind` None: an untouched piece."""

    kind: str | None
    strength: float
    place: int


def _findings(pieces: tuple[MeasuredPiece, ...]) -> int:
    return sum(isinstance(one, EdgeFinding | Opening | Stray) for piece in pieces for one in piece.findings)


def _told(job: _Job) -> int:
    """How many findings of the outline there are."""
    cv2.setNumThreads(1)
    tray = own_tray(1000 + job.place, noisy=job.place % 3 == 2)
    if job.kind is None:
        return _findings(tray.measured)
    (alteration,) = [one for one in BACKLIT if one.name == job.kind]
    altered = alteration.alter(tray, job.strength, np.random.default_rng([job.place, 7]))
    if altered is None:
        return 0
    shown = altered.shown
    return _findings(inspect_tray(shown.pictures, shown.part, shown.station, shown.limits)[0].pieces)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--places", type=int, default=5)
    parser.add_argument("--jobs", type=int, default=1)
    asked = parser.parse_args()
    places = range(asked.places)
    jobs = [_Job(None, 0.0, place) for place in places]
    jobs += [_Job(kind, s, place) for place in places for kind, (_, widths) in _KINDS.items() for s in widths]
    with ProcessPoolExecutor(asked.jobs) as pool:
        told = dict(zip(jobs, pool.map(_told, jobs, chunksize=8), strict=True))
    false = sum(told[job] for job in jobs if job.kind is None)
    print(f"false findings on {len(places)} untouched pieces: {false}")
    print("| kind | what is varied | told of each | smallest told nine times in ten |")
    print("|---|---|---|---|")
    for kind, (what, widths) in _KINDS.items():
        shares = [float(np.mean([told[_Job(kind, s, place)] > 0 for place in places])) for s in widths]
        sure = [s for k, s in enumerate(widths) if min(shares[k:]) >= _FOUND_SHARE]
        each = ", ".join(f"{s:g}: {share:.2f}" for s, share in zip(widths, shares, strict=True))
        print(f"| {kind} | {what} | {each} | {min(sure, default=float('nan')):g} |")


if __name__ == "__main__":
    main()
