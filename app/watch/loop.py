"""Watching an inbox: each tray is judged once it is complete, and filed; nothing is lost, whatever ends or fails."""

import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from threading import Event

from app.run import Outcome, WorkerPool, unforeseen
from app.store import Store, Undecided, dealt_with, file_tray, note_judged, put_aside
from app.watch.attempts import AttemptLog, exhausted, pause_s
from app.watch.health import Health, Hold, State, WatcherStatus
from app.watch.inbox import ARRIVING, Inbox
from app.watch.prepare import NotReady, Order, Preparer, Ready
from app.works import ready_to_file, shot_folder, show_as_before, show_standing
from vision.errors import Unusable
from vision.records import TrayResult

# Between two looks: long enough for a writer to change a file's size or time, short against a tray's own time.
SCAN_S = 0.25
# While nothing can be written: pauses double from the first to the longest.
FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.5, 30.0


class Watcher:
    """One inbox, one works, one store; no tray stops it, whatever it holds."""

    def __init__(self, order: Order, store: Store) -> None:
        self.order = order
        self.store = store
        self.health = Health(order.state / "health.json", store.url)
        self.attempt_log = AttemptLog(order.state / "tries.json")
        self.preparer = Preparer(order, store, self.health.note)
        self.inbox = Inbox(order.inbox, self._known, self.preparer.works_state)
        self.queue: deque[str] = deque()
        # Trays that were in hand when a watcher ended: tried after the others, and with no other beside them.
        self.suspects: deque[str] = deque()
        self.suspects_turn = False
        self.in_hand: dict[str, Ready] = {}
        self.hold: Hold | None = None
        self.scanned_s = float("-inf")
        # Trays of which even that they failed could not be kept.
        self.untellable: set[str] = set()
        if self.attempt_log.damaged:
            self.health.error(f"{self.attempt_log.file}: damaged, begun anew; a tray may be tried more often")

    def run(self, stop: Event) -> None:
        """Watch until `stop` is set; trays in hand are dropped then, and judged anew by the next watcher."""
        pool = WorkerPool(self.order.jobs)
        try:
            while not stop.is_set():
                self._guarded(None, lambda: self._look(pool))
                if not self.in_hand:
                    stop.wait(SCAN_S)
                self._guarded(None, lambda: self.health.update(self._status("held" if self.hold else "watching")))
        finally:
            pool.close()
            self._drop()
            self._guarded(None, lambda: self.health.write(self._status("stopped")))
        self.health.say(self._status("stopped"))

    def _look(self, pool: WorkerPool) -> None:
        """One round: look into the inbox, send what is ready, take back what is done."""
        if time.monotonic() - self.scanned_s >= SCAN_S:
            self.scanned_s = time.monotonic()
            self._scan()
        self._send(pool)
        if self.in_hand:
            for outcome in pool.ended(SCAN_S):
                self._guarded(outcome.folder.name, partial(self._finish, outcome))

    def _drop(self) -> None:
        """Let go of the trays in hand: that they were is no fault of theirs."""
        for name in self.in_hand:
            self.attempt_log.take_back(name, self.inbox.taken[name])
        self.in_hand.clear()
        with suppress(Unusable):  # a disk that is full now: the next watcher takes them for trays that ended this one
            self.attempt_log.close()

    def _guarded(self, name: str | None, step: Callable[[], None]) -> None:
        """Do a step for one tray, or for none in particular; whatever goes wrong, the watcher goes on."""
        try:
            step()
        except Unusable as fault:  # of the store, the results' place or the watcher's own file
            if name is not None:
                self.untellable.discard(name)
                self._put_back(name)
            self._hold(str(fault))
        except Exception as fault:  # noqa: BLE001 - the one place besides the batch
            self._unforeseen(name, fault)

    def _unforeseen(self, name: str | None, fault: Exception) -> None:
        """What nobody thought of: told, and counted against the tray that it arose with."""
        if name is None:
            self._hold(unforeseen(self.order.inbox, "the watcher goes on", fault))
            return
        why = unforeseen(self.order.inbox / name, "could not be judged or filed", fault)
        self.in_hand.pop(name, None)
        if name not in self.inbox.taken:
            self.health.error(why)
        elif name in self.untellable:  # not even that could be filed: until the next start it is known here alone
            self.untellable.discard(name)
            self.inbox.settle(name, self.inbox.taken[name], why)
            self.health.error(f"set aside until the watcher is started again: {why}")
        else:
            self._guarded(name, partial(self._failed_unforeseen, name, why))

    def _failed_unforeseen(self, name: str, why: str) -> None:
        self.untellable.add(name)
        self._failed(name, NotReady(why))
        self.untellable.discard(name)

    def _status(self, state: State) -> WatcherStatus:
        queue = len(self.queue) + len(self.suspects)
        return WatcherStatus(self.inbox, state, queue, tuple(self.in_hand), self.hold)

    def _known(self, names: Sequence[str]) -> Mapping[str, Mapping[str, str | None]]:
        keys = {self.order.key(name): name for name in names}
        return {keys[key]: dealt for key, dealt in dealt_with(self.store, list(keys)).items()}

    def _scan(self) -> None:
        if self._held_still():
            return
        fresh = self.inbox.scan()
        self.health.scanned()
        for name in fresh:
            self._line_up(name)
        if not (self.queue or self.suspects or self.in_hand):
            self.hold = None

    def _line_up(self, name: str) -> None:
        suspect = self.attempt_log.of(name, self.inbox.taken[name]).ends > 0
        (self.suspects if suspect else self.queue).append(name)

    def _put_back(self, name: str) -> None:
        self.attempt_log.take_back(name, self.inbox.taken[name])
        self._line_up(name)

    def _hold(self, why: str) -> None:
        """Something can't be read or written: leave all trays where they are for a while."""
        self.health.error(why)
        pause = min(2.0 * self.hold.pause_s, LONGEST_PAUSE_S) if self.hold else FIRST_PAUSE_S
        self.hold = Hold(why, pause, time.monotonic() + pause)

    def _held_still(self) -> bool:
        return self.hold is not None and time.monotonic() < self.hold.until_s

    def _send(self, pool: WorkerPool) -> None:
        """Give the pool what can be judged now; while it is in doubt whether results can be kept, one tray alone."""
        while pool.has_room() and not self._held_still() and not (self.hold and self.in_hand):
            name = self._next()
            if name is None:
                return
            self._guarded(name, partial(self._begin, name, pool))

    def _begin(self, name: str, pool: WorkerPool) -> None:
        """Have a tray judged, where that can be."""
        ready = self._prepare(name)
        if ready is not None:
            self.attempt_log.begin(name, self.inbox.taken[name])
            try:
                pool.send(ready.shot.folder, ready.work)
            except OSError as fault:
                expected = "a machine that can start processes expected; close some"
                raise Unusable(self.order.state, "", expected, fault.strerror or "") from None
            self.in_hand[name] = ready

    def _next(self) -> str | None:
        """The next tray to try: first those that nothing speaks against, then each suspect with nothing beside it."""
        if any(self.attempt_log.of(name, self.inbox.taken[name]).ends > 1 for name in self.in_hand):
            return None  # a suspect; the others have one end, that of the try that runs
        if self.suspects and (self.suspects_turn or not self.queue):
            self.suspects_turn = bool(self.in_hand)  # no other is begun until those in hand are done
            return None if self.in_hand else self.suspects.popleft()
        return self.queue.popleft() if self.queue else None

    def _prepare(self, name: str) -> Ready | None:
        """All that is needed to judge a tray; None where it must wait or was set aside."""
        attempts = self.attempt_log.of(name, self.inbox.taken[name])
        if exhausted(attempts):
            folder = self.order.inbox / name
            ends = f"{folder}: the watcher ended {attempts.ends} times while this tray was in hand; look at its frames"
            self._set_aside(name, attempts.why or ends, attempts.works)
            return None
        ready = self.preparer.prepare(name, self.in_hand.values())
        if isinstance(ready, Ready):
            return ready
        if ready.pause_s is not None:
            self.inbox.wait(name, ready.pause_s, ready.why)
        else:
            self._failed(name, ready)
        return None

    def _finish(self, outcome: Outcome) -> None:
        """A tray came back: file it, try it again, or set it aside."""
        name = outcome.folder.name
        done = self.in_hand.pop(name)
        if outcome.unwritten:
            self._put_back(name)
            self._hold(outcome.failures[0])
            return
        if not self.inbox.unchanged(name):  # its files changed meanwhile: what was judged is neither old nor new
            self.attempt_log.take_back(name, self.inbox.taken[name])
            self.inbox.wait(name, 0.0, ARRIVING)
            return
        if outcome.result is None:
            self._failed(name, NotReady(outcome.failures[0]))
            return
        self._file(name, done, outcome.result)
        for failure in outcome.failures:
            self.health.error(failure)

    def _file(self, name: str, done: Ready, result: TrayResult) -> None:
        """File a result, and in the same transaction that this tray was dealt with."""
        digest, work = self.inbox.taken[name], done.work
        try:
            found = ready_to_file(shot_folder(work.out, result), self.order.works.folder, {result.tray: [done.shot]})
            tray = replace(found, part=work.part, station=work.station, limits=work.limits)
            with self.store.write() as connection:
                filed = file_tray(connection, tray)
                note_judged(connection, self.order.key(name), digest, result.tray)
            show_standing(filed.standing_path, self.order.works.folder)
        except Undecided as fault:
            own = shot_folder(work.out, result)
            show_as_before(self.store, own, self.order.works.folder)
            self._set_aside(name, fault.said(own), "")
            return
        except Unusable as fault:
            if fault.where == self.store.url:
                raise
            self._failed(name, NotReady(str(fault), works=done.works))
            return
        self.hold = None
        self.attempt_log.forget(name)
        self.inbox.settle(name, digest)
        self.health.counts.filed += filed.new
        self.health.judged(result)

    def _failed(self, name: str, fault: NotReady) -> None:
        """A try failed: wait before the next one, or set the tray aside after the last."""
        attempts = self.attempt_log.fail(name, self.inbox.taken[name], fault.why, fault.works)
        if exhausted(attempts):
            self._set_aside(name, fault.why, fault.works)
        else:
            self.inbox.wait(name, pause_s(attempts), fault.why)

    def _set_aside(self, name: str, why: str, works: str) -> None:
        digest = f"{self.inbox.taken[name]} {works}".strip()
        put_aside(self.store, self.order.key(name), digest, why)
        self.hold = None
        self.attempt_log.forget(name)
        self.inbox.settle(name, digest, why)
        self.health.error(f"set aside until its files change: {why}")
