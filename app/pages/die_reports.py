"""Reports on dies, kept by the server and made beside its pages: a page opens on the last one, however much was filed.

Tens of thousands of pieces take many seconds to read and to study. What was read of a tray is kept, so that after more
was filed only that is read; and a page never waits for it longer than nobody notices.
"""

from dataclasses import dataclass, field
from threading import Lock, Thread
from time import sleep

from app.report import DieReport
from app.store import ShotRead, Store, history_mark, history_of, known_parts
from app.studies import study_dies
from vision.errors import Unusable

WAIT_S = 0.3
"""A page waits so long for the first report, which is enough where little was filed."""
PAGE_FIRST_S = 1.0
"""A newer report is begun so long after it was asked for: the page that shows the last one is drawn first."""


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """A report, or why there is none, of the store as it stood at `mark`."""

    mark: tuple[int, ...]
    report: DieReport | Unusable


@dataclass(frozen=True, slots=True, eq=False)
class DieReports:
    """The newest report of every part that was asked for, and what was read of its trays."""

    _kept: dict[str, Kept] = field(default_factory=dict)
    _read: dict[str, dict[int, ShotRead]] = field(default_factory=dict)
    _making: dict[str, Thread] = field(default_factory=dict)
    _asked: Lock = field(default_factory=Lock)
    _work: Lock = field(default_factory=Lock)

    def at_hand(self, store: Store, part: str) -> tuple[DieReport | None, bool]:
        """The last report on a part, and whether it holds all that was filed; if not, a newer one is being made.

        None where there is none yet. Raises Unusable where the store has nothing to report.
        """
        mark = history_mark(store)
        making = self._made_beside(store, part, mark)
        if making is not None and part not in self._kept:
            making.join(WAIT_S)
        kept = self._kept.get(part)
        if kept is None:
            return None, False
        if isinstance(kept.report, Unusable):
            raise kept.report
        return kept.report, kept.mark >= mark

    def prepare(self, store: Store) -> None:
        """Make the reports of all parts, beside what else the server does: the first page is as quick then."""
        Thread(target=self._prepare, args=(store,), daemon=True).start()

    def _prepare(self, store: Store) -> None:
        for part in known_parts(store):
            making = self._made_beside(store, part, history_mark(store))
            if making is not None:
                making.join()

    def _made_beside(self, store: Store, part: str, mark: tuple[int, ...]) -> Thread | None:
        """Who makes a part's report; none where the last one holds all."""
        with self._asked:
            kept, making = self._kept.get(part), self._making.get(part)
            if kept is not None and kept.mark >= mark:
                return None
            if making is None or not making.is_alive():
                making = self._making[part] = Thread(target=self._make, args=(store, part), daemon=True)
                making.start()
            return making

    def _make(self, store: Store, part: str) -> None:
        if part in self._kept:
            sleep(PAGE_FIRST_S)
        with self._work:  # one after the other: people judge meanwhile
            mark = history_mark(store)  # before the reading: what is filed during it is read anew
            try:
                history = history_of(store, part, read=self._read.setdefault(part, {}))
                study = study_dies(
                    history.histories, history.marks, history.pieces_by_die, history.ground, history.limits
                )
                self._kept[part] = Kept(mark, DieReport(history, study))
            except Unusable as fault:
                self._kept[part] = Kept(mark, fault)
