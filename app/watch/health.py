"""How a watcher fares: counters and reasons in a small file for a supervisor, and a line now and then for people."""

import json
import os
import sys
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from app.watch.inbox import Inbox
from vision.errors import Unusable, printable
from vision.formats import write_atomic
from vision.records import TrayResult, Verdict

WRITTEN_EVERY_S = 1.0
SAID_EVERY_S = 60.0
# Trays listed by name with their reason; the counts are of all.
_LISTED = 50
_VERDICTS: tuple[Verdict, ...] = ("pass", "review", "reject")

State = Literal["watching", "held", "stopped"]


@dataclass(slots=True)
class Counts:
    """What was done since the watcher started: trays judged and filed, judgements new in the store, verdicts."""

    judged: int = 0
    filed: int = 0
    verdicts: Counter[Verdict] = field(default_factory=Counter)


@dataclass(frozen=True, slots=True)
class Hold:
    """Nothing can be written for now: why, and until when (monotonic clock) nothing is tried."""

    why: str
    pause_s: float
    until_s: float


@dataclass(frozen=True, slots=True)
class WatcherStatus:
    """What the watcher has at hand when its health is written."""

    inbox: Inbox
    state: State
    queue: int
    in_hand: tuple[str, ...]
    hold: Hold | None


class Health:
    """Writes `health.json` and says lines; neither can stop the watcher."""

    def __init__(self, file: Path, store: str) -> None:
        self.file = file
        self.store = store
        self.counts = Counts()
        self.started_at = _now()
        self.last_scan_at: str | None = None
        self.last_error: dict[str, str] | None = None
        self._said_s = self._written_s = time.monotonic()
        self._said: dict[str, float] = {}

    def scanned(self) -> None:
        """The inbox was looked through."""
        self.last_scan_at = _now()

    def error(self, line: str) -> None:
        """Tell of something that went wrong."""
        self.last_error = {"at": _now(), "line": line}
        self.note(line)

    def note(self, line: str) -> None:
        """Tell of something that a person should know; the same again is said at most once a while."""
        moment = time.monotonic()
        self._said = {one: said_s for one, said_s in self._said.items() if moment - said_s < SAID_EVERY_S}
        if line not in self._said:
            self._said[line] = moment
            _say(f"brightbowl: {line}", sys.stderr)

    def judged(self, result: TrayResult) -> None:
        """Count a tray that was judged and filed; somebody who looks on at a terminal sees a line of it."""
        verdicts = Counter(piece.verdict for piece in result.pieces)
        self.counts.judged += 1
        self.counts.verdicts.update(verdicts)
        if sys.stdout.isatty():
            counts = ", ".join(f"{name} {verdicts[name]}" for name in _VERDICTS if verdicts[name]) or "no piece"
            lot = f" of lot {result.lot}" if result.lot else ""
            _say(printable(f"{result.tray}{lot}: {counts}"), sys.stdout)

    def update(self, status: WatcherStatus) -> None:
        """Write the file and say the line where it is time."""
        moment = time.monotonic()
        if moment - self._written_s >= WRITTEN_EVERY_S:
            self._written_s = moment
            self.write(status)
        if moment - self._said_s >= SAID_EVERY_S:
            self._said_s = moment
            self.say(status)

    def say(self, status: WatcherStatus) -> None:
        """Say how things stand in one line on stdout."""
        aside = sum(settled.why is not None for settled in status.inbox.settled.values())
        verdicts = ", ".join(f"{name} {self.counts.verdicts[name]}" for name in _VERDICTS)
        held = f"; held: {status.hold.why}" if status.hold else ""
        _say(
            f"{status.state}: {self.counts.judged} trays judged ({verdicts}), {status.queue} in the queue, "
            f"{len(status.inbox.waiting)} waiting, {aside} set aside{held}",
            sys.stdout,
        )

    def write(self, status: WatcherStatus) -> None:
        """Write the file, whole; a full disk is told as an error."""
        moment = time.monotonic()
        aside = {name: settled.why for name, settled in status.inbox.settled.items() if settled.why is not None}
        waiting = status.inbox.waiting
        content = {
            "format": 1,
            "state": status.state,
            "pid": os.getpid(),
            "inbox": printable(str(status.inbox.folder)),
            "store": self.store,
            "started_at": self.started_at,
            "written_at": _now(),
            "last_scan_at": self.last_scan_at,
            "judged": self.counts.judged,
            "filed": self.counts.filed,
            "verdicts": {name: self.counts.verdicts[name] for name in _VERDICTS},
            "queue": status.queue,
            "in_hand": [printable(name) for name in status.in_hand],
            "waiting": {
                "count": len(waiting),
                "trays": [
                    {"tray": printable(name), "why": one.why, "for_s": round(moment - one.since_s, 1)}
                    for name, one in list(waiting.items())[:_LISTED]
                ],
            },
            "set_aside": {
                "count": len(aside),
                "trays": [{"tray": printable(name), "why": why} for name, why in list(aside.items())[:_LISTED]],
            },
            "held": status.hold
            and {"why": status.hold.why, "again_in_s": round(max(status.hold.until_s - moment, 0.0), 1)},
            "last_error": self.last_error,
        }
        try:
            write_atomic(self.file, json.dumps(content, indent=1, ensure_ascii=False))
        except Unusable as fault:
            self.error(str(fault))


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def _say(line: str, where: Any) -> None:
    with suppress(OSError):  # a log on a full disk, or one that nobody reads any more
        print(line, file=where, flush=True)
