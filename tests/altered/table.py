"""The table of altered trays: `.venv/bin/python -m tests.altered.table [--seeds N] [--jobs N] [NAME...]`.

For each alteration and strength how many pieces were bad or not properly seen, and how many of them passed (none may);
then how many good pieces of untouched trays go to review because of what was not seen or not explained. Own trays by
seed and those beside the project; a few minutes a seed on one core.
"""

import argparse
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice

import cv2

from tests.altered.backlit import BACKLIT
from tests.altered.bench import Outcome, Tray, own_face_tray, own_tray, shared_trays, tried
from tests.altered.faces import FACES
from tests.altered.mishaps import MISHAPS

_BACK_FAMILIES = ("plain", "noisy", "lens", "height", "deep16", "punched")
_PARTS = ("TS-135", "DS-182")


@dataclass(frozen=True, slots=True)
class _Named:
    """A tray by what makes it: a family beside the project and its number, or a seed of our own."""

    family: str
    number: int


def _named(kind: str, seeds: int) -> list[_Named]:
    if kind == "back":
        beside = [_Named(f"outline/{family}", k) for family in _BACK_FAMILIES for k in range(2)]
        return [*(_Named("own", seed) for seed in range(seeds)), *beside]
    own = [_Named(family, seed) for family in ("clean", "marked", "dirty") for seed in range(seeds)]
    return [*own, *(_Named("polished", k) for k in range(3))]


@lru_cache(maxsize=4)
def _tray(named: _Named) -> Tray | None:
    """A tray, rendered or read; None where none lies beside the project."""
    part = _PARTS[named.number % 2]
    match named.family:
        case "own":
            return own_tray(named.number, pieces=2, noisy=named.number % 3 == 2, part=part)
        case "clean" | "marked" | "dirty":
            return own_face_tray(named.number, named.family == "marked", named.family == "dirty", part)
        case _:
            return next(islice(shared_trays(named.family, named.number + 1), named.number, None), None)


def _alterations(kind: str, names: list[str]) -> list[tuple[int, float]]:
    listed = BACKLIT if kind == "back" else (*FACES, *MISHAPS)
    return [(k, s) for k, one in enumerate(listed) if not names or one.name in names for s in one.strengths]


def _worked(job: tuple[str, _Named, list[str]]) -> list[tuple[str, float, Outcome]]:
    """Everything done to one tray; first what became of it untouched."""
    cv2.setNumThreads(1)
    kind, named, names = job
    tray = _tray(named)
    if tray is None:
        return []
    out = [(f"untouched: {named.family}", 0.0, _by_new_rules(tray))]
    listed = BACKLIT if kind == "back" else (*FACES, *MISHAPS)
    for k, strength in _alterations(kind, names):
        found = tried(listed[k], tray, strength, named.number)
        if found is not None:
            out.append((listed[k].name, strength, found))
    return out


def _by_new_rules(tray: Tray) -> Outcome:
    """Of pieces as they came, how many are held back by what was not seen or not explained alone."""
    held = 0
    for one in tray.judged:
        seen = {"outline_seen", "outline_unseen_mm", "opening_area_mm2", "face_seen", "mark_area_mm2", "stain_area_mm2"}
        by_rule = {reason.measure for reason in one.reasons}
        held += bool(by_rule & seen) or one.fault in ("stray", "outline_hidden", "response", "moved", "wrong_light")
    return Outcome(len(tray.judged), held)


def _rows(jobs: list[tuple[str, _Named, list[str]]], processes: int) -> Iterator[tuple[str, float, Outcome]]:
    if processes == 1:
        for job in jobs:
            yield from _worked(job)
        return
    with ProcessPoolExecutor(processes) as pool:
        for found in pool.map(_worked, jobs):
            yield from found


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--kind", choices=("back", "face"), action="append")
    parser.add_argument("names", nargs="*")
    asked = parser.parse_args()
    kinds = asked.kind or ["back", "face"]
    jobs = [(kind, named, asked.names) for kind in kinds for named in _named(kind, asked.seeds)]
    total: dict[str, dict[float, list[Outcome]]] = defaultdict(lambda: defaultdict(list))
    for name, strength, found in _rows(jobs, asked.jobs):
        total[name][strength].append(found)
    print("| alteration | strengths | concerned | passed | passed at |")
    print("|---|---|---|---|---|")
    for name, by_strength in total.items():
        concerned = [sum(one.concerned for one in found) for found in by_strength.values()]
        passed = [sum(one.passed for one in found) for found in by_strength.values()]
        at = ", ".join(f"{strength:g}: {n}" for strength, n in zip(by_strength, passed, strict=True) if n)
        strengths = ", ".join(f"{strength:g}" for strength in by_strength)
        print(f"| {name} | {strengths} | {sum(concerned)} | {sum(passed)} | {at} |")


if __name__ == "__main__":
    main()
