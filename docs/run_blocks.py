"""Blocks of a page that are run one after the other, as in a notebook: what they print, and the pictures they make."""

import contextlib
import io
import re
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Ran:
    """One block: what it printed, and the pictures in the working folder that it made."""

    printed: str
    pictures: tuple[Path, ...]


def blocks_of(page: str) -> list[str]:
    """The code of a page's `{run}` blocks, in their order."""
    return re.findall(r"^```\{run\}\n(.*?)^```$", page, re.MULTILINE | re.DOTALL)


def run_blocks(blocks: list[str], names: dict[str, object] | None = None) -> list[Ran]:
    """Run blocks in the working folder; `names` are kept from block to block."""
    names = {"__name__": "example"} if names is None else names
    told = []
    for block in blocks:
        before = _pictures()
        said = io.StringIO()
        with contextlib.redirect_stdout(said):
            exec(compile(block, "<example>", "exec"), names)
        made = [path for path, when in _pictures().items() if before.get(path) != when]
        told.append(Ran(said.getvalue(), tuple(path.resolve() for path in made)))
    return told


def _pictures() -> dict[Path, int]:
    """Pictures in the working folder, with when they were written."""
    return {path: path.stat().st_mtime_ns for path in sorted(Path().glob("*.[jp][pn]g"))}
