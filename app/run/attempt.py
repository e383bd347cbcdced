"""One tray shot, whatever happens: the unit that processes and workers share out."""

from dataclasses import dataclass
from pathlib import Path

import cv2

from app.run.shot import Work, add_beside, inspect_shot
from vision.errors import Unusable, printable
from vision.formats import quiet_libraries
from vision.records import TrayResult

# Findings of a tray that shows no piece at all because nothing could be seen, not because it lies empty.
_BLIND = ("exposure", "focus")
_SAID = 400  # characters of what an unforeseen fault says of itself


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one shot: its result where one was written, and what could not be done (a line each).

    `unwritten` says that the place of results could not be written: no fault of the shot. `died`: its process did.
    """

    folder: Path
    result: TrayResult | None
    failures: tuple[str, ...] = ()
    unwritten: bool = False
    died: bool = False


def attempt(folder: Path, work: Work) -> Outcome:
    """Inspect one shot; whatever goes wrong becomes a line."""
    result = None
    try:
        inspected = inspect_shot(folder, work)
        result = inspected.result
        add_beside(inspected, work)
    except Unusable as fault:
        return Outcome(folder, result, (str(fault),), unwritten=Path(fault.where).is_relative_to(work.out))
    except Exception as fault:  # noqa: BLE001
        what = "judged, but its pictures could not be drawn" if result else "could not be judged"
        return Outcome(folder, result, (unforeseen(folder, what, fault),))
    blind = [finding for finding in result.tray_findings if finding.kind in _BLIND] if not result.pieces else []
    return Outcome(folder, result, tuple(f"{folder}: nothing measured: {finding.detail}" for finding in blind))


def unforeseen(where: Path | str, what: str, fault: Exception) -> str:
    """A fault of the software's own in one line, with the place where it arose, for whoever mends it.

    Parameters
    ----------
    where
        The file or folder that was worked on.
    what
        What was being done.
    fault
        What came up.

    Returns
    -------
    str
        One line.
    """
    trace = fault.__traceback__
    while trace and trace.tb_next:
        trace = trace.tb_next
    place = f" at {Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}" if trace else ""
    said = printable(str(fault), _SAID)
    return printable(
        f"{where}: {what}, a fault of this software; please report it ({type(fault).__name__}{place}: {said})"
    )


def on_one_core() -> None:
    """OpenCV keeps to one core, in each process: the shots are what runs side by side. Nothing is said past us."""
    cv2.setNumThreads(1)
    quiet_libraries()
