"""What a tray of an inbox is judged by, or why it can't be judged now."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from app.report import stamp_of
from app.run import Work, read_work
from app.store import Store, kept_path
from app.watch.inbox import NEVER, digest_of
from app.works import Works, limits_judging, runs_of
from vision.errors import Incomplete, Unusable
from vision.formats import left_out_words, not_written, read_shot
from vision.records import Shot

# How long a tray waits while another folder of the same tray is being judged.
_BESIDE_S = 1.0


@dataclass(frozen=True, slots=True)
class Order:
    """What is watched, and how: `state` is the watcher's own folder."""

    inbox: Path
    works: Works
    state: Path
    jobs: int
    pictures: bool

    def key(self, name: str) -> str:
        """A tray's folder as the store keeps paths."""
        # Bytes that are no UTF-8 as a person would write them: no database takes them as they are.
        text = name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
        return f"{kept_path(self.inbox, self.works.folder)}/{text}"


@dataclass(frozen=True, slots=True)
class Ready:
    """A tray that can be judged; `works` is the state of the works' files by which it is."""

    shot: Shot
    work: Work
    works: str


@dataclass(frozen=True, slots=True)
class NotReady:
    """A tray that can't be judged.

    With `pause_s` it waits so long by no fault of its own; else this was a try that failed. `works` is the state of
    the works' files where they are at fault.
    """

    why: str
    pause_s: float | None = None
    works: str = ""


class Preparer:
    """Reads trays and the files of the works, those again only where one of them has changed.

    `note` tells a person what of the works' files is left out.
    """

    def __init__(self, order: Order, store: Store, note: Callable[[str], None]) -> None:
        self.order = order
        self.store = store
        self.note = note
        self._read: dict[tuple[Path, Path], tuple[str, Work]] = {}

    def works_state(self) -> str:
        """A digest that changes when a part, a station or limits of the works change."""
        works = self.order.works.folder
        return digest_of(works / "parts", works / "stations", works / "limits", works / "judges")

    def prepare(self, name: str, beside: Iterable[Ready]) -> Ready | NotReady:
        """Read what a tray's folder says of itself and find what it is judged by.

        Parameters
        ----------
        beside
            The trays that are being judged.

        Raises
        ------
        Unusable
            The store can't be asked, or the results' place can't be written.
        """
        folder = self.order.inbox / name
        try:
            shot = self._read_shot(folder)
        except Incomplete as fault:
            return NotReady(str(fault), NEVER)
        except Unusable as fault:
            return NotReady(str(fault))
        if any(one.shot.tray.casefold() == shot.tray.casefold() for one in beside):
            return NotReady(f"{folder}: another folder of the tray {shot.tray} is being judged", _BESIDE_S)
        return self._judged_by(shot)

    def _read_shot(self, folder: Path) -> Shot:
        """Read a shot; `Incomplete` while there is neither `shot.json`, be it one that can't be read, nor a station's
        names: by others nobody can tell when a shot is whole."""
        shot = read_shot(folder, self.order.works.stations())
        if shot.station is None:
            expected = "a tray shot with its shot.json, or with frames named as [frames] of a station says, expected"
            raise Incomplete(folder, "shot.json", expected, "none yet")
        return shot

    def _judged_by(self, shot: Shot) -> Ready | NotReady:
        state = self.works_state()
        runs, failures = runs_of(self.order.works, [shot.folder])
        if failures:
            return NotReady(failures[0], works=state)
        (run,) = runs
        key = (run.part_file, run.station_file)
        before = self._read.get(key)
        if before is None or before[0] != state:
            try:
                before = (state, read_work(run, self.order.pictures))
            except Unusable as fault:
                return NotReady(str(fault), works=state)
            self._read[key] = before
            if before[1].part.left_out:
                self.note(left_out_words(run.part_file, before[1].part.left_out))
        work = before[1]
        try:
            standing = limits_judging(self.store, self.order.works, work.limits, run.limits_file)
        except Unusable as fault:
            if fault.where == self.store.url:
                raise
            return NotReady(str(fault), works=state)
        stamp = stamp_of(self.store, self.order.works.folder) if self.order.pictures else None
        work = replace(work, standing=standing, stamp=stamp)
        try:
            work.out.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise not_written(work.out, fault) from None
        return Ready(shot, work, state)
