"""Each shot's own folder of results, and the tray's folder, which holds those that stand."""

import hashlib
import os
import shutil
from collections.abc import Iterable
from pathlib import Path

from vision.formats import PROFILES_FILE, not_written
from vision.records import FrameFile, TrayResult

RESULT_FILE = "result.json"
_OWN = "shot-"
# What stands beside a result. A run that was killed while it wrote leaves the file it was writing.
BESIDE = (".*.tmp", "piece-*.jpg", "piece-*.svg", "tray.jpg", "result.html", PROFILES_FILE)


def shot_folder(out: Path, result: TrayResult) -> Path:
    """Where the results of a shot go: `OUT/<tray>/shot-KEY`, the key from its station, its time and its frames.

    Parameters
    ----------
    out
        Folder of results.
    result
        Of the shot.

    Returns
    -------
    Path
        The folder's path; nothing is made.
    """
    frames = "" if result.digests is None else result.digests.frames
    told = "\n".join((result.station, result.taken_at or "", frames))
    return out / result.tray / f"{_OWN}{hashlib.blake2b(told.encode(), digest_size=6).hexdigest()}"


def frames_digest(frames: Iterable[FrameFile]) -> str:
    """A short name for the files of a shot's frames and their lights: equal content, equal name.

    Parameters
    ----------
    frames
        Files of the frames, with their lights.

    Returns
    -------
    str
        32 hexadecimal digits.

    Raises
    ------
    OSError
        A frame can't be read.
    """
    whole = hashlib.blake2b(digest_size=16)
    for frame in sorted(frames, key=lambda one: (one.light, one.azimuth_deg or 0.0)):
        whole.update(f"{frame.light} {frame.azimuth_deg} ".encode())
        with frame.path.open("rb") as file:
            whole.update(hashlib.file_digest(file, lambda: hashlib.blake2b(digest_size=16)).digest())
    return whole.hexdigest()


def put_standing(own: Path) -> None:
    """Make the tray's folder show the results of one of its shots, in place of another's.

    Files are shared where the disk can do that. Whoever looks meanwhile sees each file whole.

    Parameters
    ----------
    own
        The folder of one shot's results, inside its tray's.

    Raises
    ------
    Unusable
        The folder can't be written.
    """
    tray = own.parent
    try:
        files = [file for file in own.iterdir() if file.is_file() and not file.name.startswith(".")]
        names = {file.name for file in files}
        for pattern in BESIDE:
            for old in tray.glob(pattern):
                if old.name not in names:
                    old.unlink(missing_ok=True)
        for file in sorted(files, key=lambda one: one.name == RESULT_FILE):
            shown = tray / file.name
            if shown.exists() and shown.samefile(file):
                continue  # renaming one name of a file to another of its names would leave both
            fresh = tray / f".{file.name}.{os.getpid()}.tmp"
            fresh.unlink(missing_ok=True)
            try:
                os.link(file, fresh)
            except OSError:
                shutil.copyfile(file, fresh)
            fresh.replace(shown)
    except OSError as fault:
        raise not_written(tray, fault) from None


def take_away_shown(tray: Path) -> None:
    """Have a tray's folder show the results of none of its shots.

    Raises
    ------
    Unusable
        The folder can't be written.
    """
    try:
        for pattern in (RESULT_FILE, *BESIDE):
            for old in tray.glob(pattern):
                old.unlink(missing_ok=True)
    except OSError as fault:
        raise not_written(tray, fault) from None


def is_own_folder(folder: Path) -> bool:
    """Whether a folder is one shot's own."""
    return folder.name.startswith(_OWN)


def own_folders(folder: Path) -> list[Path]:
    """Every folder of one shot's results in a folder, each once: a tray's own files are those of one of its shots."""
    found = sorted(path.parent for path in folder.rglob(RESULT_FILE))
    of_trays = {one.parent for one in found if is_own_folder(one)}
    return [one for one in found if one not in of_trays]
