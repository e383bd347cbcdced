"""The table of altered trays: `.venv/bin/python -m tests.altered.table [SEEDS] [NAME...]`.

For each alteration and strength how many pieces were bad or not properly seen, and how many of them passed (none may);
then how many good pieces of untouched trays go to review because of what was not seen or not explained.
"""

import sys
from collections.abc import Iterator

from tests.altered.backlit import BACKLIT
from tests.altered.bench import Tray, own_tray, shared_trays, tried

ALTERATIONS = BACKLIT
FAMILIES = ("outline/plain", "outline/noisy", "outline/lens", "outline/height", "outline/deep16", "outline/punched")


def trays(seeds: int) -> Iterator[Tray]:
    """Own trays by seed, a third of them noisy, and those beside the project."""
    for seed in range(seeds):
        yield own_tray(seed, pieces=2, noisy=seed % 3 == 2, part=("TS-135", "DS-182")[seed % 2])
    for family in FAMILIES:
        yield from shared_trays(family)


def main(seeds: int, names: list[str]) -> None:
    """Print the table."""
    known = list(trays(seeds))
    print("| alteration | strength | concerned | passed |")
    print("|---|---|---|---|")
    total = passed = 0
    for alteration in ALTERATIONS:
        if names and alteration.name not in names:
            continue
        for strength in alteration.strengths:
            found = [one for seed, tray in enumerate(known) if (one := tried(alteration, tray, strength, seed))]
            concerned, through = sum(one.concerned for one in found), sum(one.passed for one in found)
            total, passed = total + concerned, passed + through
            print(f"| {alteration.name} | {strength:g} | {concerned} | {through} |", flush=True)
    print(f"| all | | {total} | {passed} |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3, sys.argv[2:])
