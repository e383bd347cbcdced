"""Ending when told to: Ctrl+C and SIGTERM end any command in two seconds, whatever it is at, with one line."""

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import NoReturn

LATEST_S = 1.5
"""So long a command may take to put things in order; then the process ends as it is. Files are whole even so."""
_SIGNALS = (signal.SIGINT, signal.SIGTERM)


class Stopped(BaseException):
    """The command was told to stop by a signal; its text is of no use to anybody."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


_held: list[list[int]] = []  # while something must not be torn apart: the signals that came meanwhile


@contextmanager
def ended_by_signals(ends_well: bool, raising: bool = True) -> Iterator[threading.Event]:
    """Take Ctrl+C and SIGTERM, in the main thread; the process ends `LATEST_S` after one at the latest.

    Parameters
    ----------
    ends_well
        Being told to stop is no failure: exit code 0 and no line.
    raising
        `Stopped` is raised where the main thread is, once processes of ours were ended and stderr was closed to all but
        our own line. Else the event is set, and whoever waits for it ends in its own way.

    Yields
    ------
    threading.Event
        Set once a signal came.

    Raises
    ------
    Stopped
        A signal came, and `raising`.
    """
    told, over = threading.Event(), threading.Event()
    ear, mouth = os.pipe()
    if sys.platform != "win32":
        os.set_blocking(mouth, False)

    def on_signal(number: int, _frame: FrameType | None) -> None:
        if told.is_set():
            return
        told.set()
        if not raising:
            return
        if _held:
            _held[-1].append(number)
            return
        raise _stopped(number)

    def watch() -> None:
        if sys.platform != "win32":
            signal.pthread_sigmask(signal.SIG_BLOCK, _SIGNALS)
        while heard := os.read(ear, 1):
            if heard[0] in _SIGNALS and not over.wait(LATEST_S):
                _end_children()
                end_now(heard[0], ends_well)

    before = {number: signal.signal(number, on_signal) for number in _SIGNALS}
    # Written by the system as the signal comes, also while the main thread is deep in a library.
    last = signal.set_wakeup_fd(mouth, warn_on_full_buffer=False)
    watching = threading.Thread(target=watch, daemon=True)
    watching.start()
    try:
        yield told
    finally:
        over.set()
        signal.set_wakeup_fd(last)
        for number, handler in before.items():
            signal.signal(number, handler)
        os.close(mouth)
        watching.join()
        os.close(ear)


@contextmanager
def undisturbed() -> Iterator[None]:
    """While a process is started: no signal tears that apart, and the new process never takes one.

    It is its parent that a signal is meant for, also where a terminal sends it to all.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    _held.append(came)
    try:
        if sys.platform == "win32":  # no signal reaches a process that starts there
            yield
        else:
            with _held_back():
                yield
    finally:
        _held.pop()
    if came:
        raise _stopped(came[0])


if sys.platform != "win32":
    from multiprocessing.resource_tracker import ensure_running

    @contextmanager
    def _held_back() -> Iterator[None]:
        ensure_running()  # now: as it starts its helper, it lets signals through that we hold back
        before = signal.pthread_sigmask(signal.SIG_BLOCK, _SIGNALS)
        try:
            yield
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


_stderr: list[int] = []


def _stopped(number: int) -> Stopped:
    _end_children()
    with suppress(OSError):
        # What is cut short anywhere may say so, at length: nobody asked for it.
        _stderr.append(os.dup(2))
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
    return Stopped(number)


def end_now(number: int, ends_well: bool) -> NoReturn:
    """End this process: what threads and libraries do at an orderly end may take long. A failure has its one line.

    Parameters
    ----------
    number
        The signal's.
    ends_well
        Being told to stop is no failure: exit code 0 and no line.

    Returns
    -------
    NoReturn
        Does not return.
    """
    if not ends_well:
        with suppress(OSError):
            os.write(_stderr[0] if _stderr else 2, b"brightbowl: stopped\n")
    os._exit(0 if ends_well else 128 + number)  # as a shell tells it


def _end_children() -> None:
    for child in multiprocessing.active_children():
        child.kill()
