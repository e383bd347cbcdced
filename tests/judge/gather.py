"""Gather examples and keep them in a file.

python -m tests.judge.gather OUT.pickle.gz --own 4000 400 [--faint-share 0.25] [--jobs 2]
python -m tests.judge.gather OUT.pickle.gz --trays FOLDER [FOLDER ...] [--jobs 2]
"""

import argparse
import gzip
import pickle
from pathlib import Path

from tests.judge.examples import gather


def main() -> None:
    """Gather examples and keep them in a file."""
    ask = argparse.ArgumentParser()
    ask.add_argument("out", type=Path)
    ask.add_argument("--own", type=int, nargs=2, default=(0, 0), metavar=("FIRST", "COUNT"))
    ask.add_argument("--faint-share", type=float, default=0.25)
    ask.add_argument("--trays", type=Path, nargs="*", default=[])
    ask.add_argument("--jobs", type=int, default=2)
    asked = ask.parse_args()
    trays = sorted(truth.parent for folder in asked.trays for truth in folder.glob("*/truth.json"))
    first, count = asked.own
    found = gather(range(first, first + count), trays, asked.faint_share, asked.jobs)
    asked.out.write_bytes(gzip.compress(pickle.dumps(found)))
    print(f"{len(found)} faces in {asked.out}")


if __name__ == "__main__":
    main()
