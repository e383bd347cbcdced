"""An inbox as it fills: which trays have stopped changing, and which were dealt with before."""

import hashlib
import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path

from vision.errors import Unusable

# Trays dealt with that are looked at again in one look, in turn, for files that were changed since.
_LOOKED_AT_AGAIN = 200
# Of a folder that holds more, or deeper ones, what lies beyond is not looked at: no shot is like that.
_DEEPEST, _MOST_FILES = 8, 10_000
ARRIVING = "its files are still arriving"
NEVER = float("inf")


@dataclass(frozen=True, slots=True)
class Waiting:
    """A tray that can't be judged yet.

    `digest` tells what its folder held; `since_s` and `again_s` are of the monotonic clock: since when it has held
    that, and when to try again (never, unless its files change).
    """

    digest: str
    since_s: float
    again_s: float
    why: str


@dataclass(frozen=True, slots=True)
class Settled:
    """A tray dealt with: judged, or set aside (`why`)."""

    digest: str
    why: str | None


Known = Callable[[Sequence[str]], Mapping[str, Mapping[str, str | None]]]


def digest_of(*places: Path) -> str:
    """A digest of the names, sizes and times of all visible files in some folders, or of single files.

    Nothing is opened. Times are compared for being equal only, so a clock that was set back does no harm.
    """
    rows = islice(chain.from_iterable(_files(place, str(place)) for place in places), _MOST_FILES)
    return hashlib.sha256(repr(sorted(rows)).encode()).hexdigest()[:32]


def _files(place: Path | str, name: str, depth: int = 0) -> Iterator[tuple[str, int, int]]:
    """Names, sizes and times (ns) of the files in a folder, or of a file."""
    if depth == _DEEPEST:
        return
    try:
        with os.scandir(place) as entries:
            for entry in entries:
                if entry.name.startswith("."):
                    continue
                inner = f"{name}/{entry.name}"
                if entry.is_dir(follow_symlinks=False):  # a link may lead back to where we come from
                    yield from _files(entry.path, inner, depth + 1)
                else:
                    yield from _file(entry.path, inner)
    except NotADirectoryError:
        yield from _file(place, name)
    except OSError:
        return  # what is gone by now, or can't be listed, is as if it were not there


def _file(path: Path | str, name: str) -> Iterator[tuple[str, int, int]]:
    """One file's row; none where it is gone."""
    with suppress(OSError):
        found = os.stat(path)  # noqa: PTH116 - a Path each would cost more than the call
        yield name, found.st_size, found.st_mtime_ns


def _is_folder(entry: os.DirEntry[str]) -> bool:
    """Whether something in an inbox is a tray; so is what can't even be asked, to be told when its turn comes."""
    try:
        return entry.is_dir()
    except OSError:
        return True


class Inbox:
    """Every folder in an inbox is a tray; it is ready once two looks running have found the same files in it.

    Parameters
    ----------
    folder
        Only ever read.
    known
        Tells what is known of trays by their names, as `app.store.results.watched.dealt_with`.
    state
        Digest of the files of the works that judge. A tray that was set aside because of those is settled only as
        long as they stay the same too: its digest is then followed by theirs.
    """

    def __init__(self, folder: Path, known: Known, state: Callable[[], str]) -> None:
        self.folder = folder
        self.known = known
        self.state = state
        self.waiting: dict[str, Waiting] = {}
        self.settled: dict[str, Settled] = {}
        self.taken: dict[str, str] = {}

    def scan(self) -> list[str]:
        """Look once: trays that are ready now, oldest in the inbox's own order; they count as taken from here on.

        Raises
        ------
        Unusable
            The inbox can't be listed, or what is known can't be asked for; nothing is taken then.
        """
        present = self._present()
        for kept in (self.waiting, self.settled):
            for name in [name for name in kept if name not in present]:
                del kept[name]
        state = self.state()
        self._unsettle(state)
        ready = []
        moment = time.monotonic()
        for name in present:
            if name in self.taken or name in self.settled:
                continue
            digest = digest_of(self.folder / name)
            before = self.waiting.get(name)
            if before is None or before.digest != digest:
                self.waiting[name] = Waiting(digest, moment, moment, ARRIVING)
            elif moment >= before.again_s:
                ready.append(name)
        known = self.known(ready) if ready else {}
        fresh = []
        for name in ready:
            digest = self.waiting.pop(name).digest
            dealt = known.get(name, {})
            as_known = next((one for one in (digest, f"{digest} {state}") if one in dealt), None)
            if as_known is not None:
                self.settled[name] = Settled(as_known, dealt[as_known])
            else:
                self.taken[name] = digest
                fresh.append(name)
        return fresh

    def settle(self, name: str, digest: str, why: str | None = None) -> None:
        """A taken tray is dealt with."""
        del self.taken[name]
        self.settled[name] = Settled(digest, why)

    def wait(self, name: str, pause_s: float, why: str) -> None:
        """A taken tray must wait: for so long, or with `NEVER` until its files change."""
        digest = self.taken.pop(name)
        moment = time.monotonic()
        self.waiting[name] = Waiting(digest, moment, moment + pause_s, why)

    def unchanged(self, name: str) -> bool:
        """Whether a taken tray holds what it held when it was taken."""
        return digest_of(self.folder / name) == self.taken[name]

    def _present(self) -> dict[str, None]:
        try:
            with os.scandir(self.folder) as entries:
                names = [entry.name for entry in entries if not entry.name.startswith(".") and _is_folder(entry)]
        except OSError as fault:
            reason = fault.strerror or str(fault)
            raise Unusable(self.folder, "", "an inbox that can be listed expected; bring it back", reason) from None
        return dict.fromkeys(sorted(names))

    def _unsettle(self, state: str) -> None:
        """Let settled trays whose files were changed since be ready anew; a few in each look, in turn."""
        for name in list(self.settled)[:_LOOKED_AT_AGAIN]:
            settled = self.settled.pop(name)
            digest = digest_of(self.folder / name)
            if settled.digest in (digest, f"{digest} {state}"):
                self.settled[name] = settled  # last in turn now
