"""How often a tray was tried in vain, kept on disk so that one which ends the watcher itself is not tried for ever."""

import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from vision.formats import write_atomic

# A tray is set aside after so many tries that failed; the pauses between them give a slow copy time to go on.
PAUSES_S = (1.0, 5.0, 30.0)
# Ends of the watcher while a tray was in hand may have another cause (a power cut), so more of them are borne.
MOST_ENDS = 5


@dataclass(frozen=True, slots=True)
class Attempts:
    """Of one tray with these files: tries that failed, tries in which the watcher itself ended, the last fault.

    `works` is the state of the works' files where those are at fault.
    """

    digest: str
    failed: int = 0
    ends: int = 0
    why: str = ""
    works: str = ""


class AttemptLog:
    """Tries by tray, in a file that is written whole before each try.

    A try is counted as an end of the watcher when it begins, and that is taken back when it comes to its own end.
    """

    def __init__(self, file: Path) -> None:
        self.file = file
        self._attempts: dict[str, Attempts] = {}
        self._begun: set[str] = set()
        self.damaged = False
        try:
            found = json.loads(file.read_text("utf-8"))
            self._attempts = {name: Attempts(**attempts) for name, attempts in found.items()}
        except FileNotFoundError:
            return
        except (OSError, ValueError, TypeError, AttributeError, RecursionError):
            # Damaged: what it told is lost, and at worst some trays are tried a few times more.
            self.damaged = True

    def of(self, name: str, digest: str) -> Attempts:
        """What was tried with a tray that holds these files."""
        attempts = self._attempts.get(name)
        return attempts if attempts is not None and attempts.digest == digest else Attempts(digest)

    def begin(self, name: str, digest: str) -> None:
        """Mark a try on disk before it begins.

        Raises
        ------
        Unusable
            The file can't be written; the try must not begin.
        """
        before = self.of(name, digest)
        self._write({**self._attempts, name: replace(before, ends=before.ends + 1)})
        self._begun.add(name)

    def _write(self, attempts: dict[str, Attempts]) -> None:
        write_atomic(self.file, json.dumps({name: asdict(one) for name, one in attempts.items()}))
        self._attempts = attempts

    def close(self) -> None:
        """Keep how things stand as the watcher ends by being told to.

        Raises
        ------
        Unusable
            The file can't be written.
        """
        self._write(self._attempts)

    def take_back(self, name: str, digest: str) -> None:
        """A try came to nothing, by no fault of the tray's."""
        self._attempts[name] = self._ended(name, digest)

    def fail(self, name: str, digest: str, why: str, works: str = "") -> Attempts:
        """A try failed by the tray's own fault, also one that did not get as far as to begin."""
        ended = self._ended(name, digest)
        self._attempts[name] = replace(ended, failed=ended.failed + 1, why=why, works=works)
        return self._attempts[name]

    def _ended(self, name: str, digest: str) -> Attempts:
        before = self.of(name, digest)
        if name not in self._begun:
            return before
        self._begun.remove(name)
        return replace(before, ends=max(before.ends - 1, 0))

    def forget(self, name: str) -> None:
        """A tray is dealt with."""
        self._attempts.pop(name, None)
        self._begun.discard(name)


def pause_s(attempts: Attempts) -> float:
    """How long to wait before the next try."""
    return PAUSES_S[attempts.failed - 1]


def exhausted(attempts: Attempts) -> bool:
    """Whether a tray is not to be tried again."""
    return attempts.failed > len(PAUSES_S) or attempts.ends >= MOST_ENDS
