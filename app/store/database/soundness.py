"""Whether a file of SQLite is a store of ours, and as we left it: asked before anything is read from or written to it.

Beside the store lie `-use`, which whoever has it open holds, and `-sums`, a checksum of each of its pages as the last
one left it. Who opens a store that nobody has open holds the pages against them; without sums that fit (it was brought
back, or its user was killed) the store is walked instead.
"""

import os
import shutil
import sqlite3
import struct
import tempfile
import zlib
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from app.store.database.file_lock import take_lock
from vision.errors import Unusable

APPLICATION = 0x6272_6274
"""Our mark in the file's header (`PRAGMA application_id`); no other program is known to bear it."""
_MAGIC = b"SQLite format 3\x00"
_BRING_BACK = "bring back a copy of it, then import the results again"
_HEAD = struct.Struct("<8sQQI")  # of the sums: our mark, size and time of the store, its page size
_SUMS = b"bbsums1\n"
# A log left by a killed user is tried on a copy first, where that is not too much to copy.
_COPIED_MOST = 256 * 2**20


@dataclass(slots=True)
class Use:
    """A store in use. `known_sound`: its pages are as its last user left them."""

    file: Path
    lock: int | None
    known_sound: bool

    def close(self) -> None:
        """Let go of it; the last user leaves the sums of its pages."""
        if self.lock is None:
            return
        try:
            if take_lock(self.lock):
                with suppress(OSError):  # nothing can be written: the next one walks it
                    _leave_sums(self.file)
        finally:
            os.close(self.lock)
            self.lock = None


def begin_use(file: Path, try_log: bool = True) -> Use:
    """Begin to use a store that may be there or not.

    Raises
    ------
    Unusable
        It is another program's, empty, or damaged, or a log lies beside it that is not its own.
    """
    if not file.exists():
        with suppress(OSError):  # said by the database, in its own words
            # With the rights of any file made here; the database would leave the group's right to write out.
            os.close(os.open(file, os.O_CREAT | os.O_EXCL, 0o666))
        lock = _lock(file)
        if lock is not None:
            take_lock(lock, shared=True, wait=True)
        return Use(file, lock, known_sound=True)
    _check_ours(file)
    lock = _lock(file)
    try:
        if lock is None:
            return Use(file, None, known_sound=False)
        if not take_lock(lock):
            # Whoever opened it first looks, which is waited for; on a disk that knows no locks nobody can say.
            return Use(file, lock, known_sound=take_lock(lock, shared=True, wait=True))
        sound = _as_left(file)
        if try_log and _size(_beside(file, "-wal")):
            sound = _try_log(file) or sound
        take_lock(lock, shared=True, wait=True)
        return Use(file, lock, known_sound=sound)
    except BaseException:
        if lock is not None:
            os.close(lock)
        raise


def in_use(file: Path) -> bool:
    """Whether anybody has a store open.

    Parameters
    ----------
    file
        Of SQLite.

    Returns
    -------
    bool
        True while a process has it open.
    """
    lock = _lock(file)
    if lock is None:
        return False
    try:
        return not take_lock(lock)
    finally:
        os.close(lock)


def _beside(file: Path, ending: str) -> Path:
    return file.with_name(file.name + ending)


def _size(file: Path) -> int:
    try:
        return file.stat().st_size
    except FileNotFoundError:
        return 0


def _lock(file: Path) -> int | None:
    """The lock's descriptor, shared; None where it can't be made, as in a folder that is read-only."""
    try:
        return os.open(_beside(file, "-use"), os.O_RDWR | os.O_CREAT, 0o666)
    except OSError:
        return None


def _check_ours(file: Path) -> None:
    """Refuse what is no store, by reading alone: nothing is made beside the file, no lock is taken on it."""
    with file.open("rb") as opened:
        head = opened.read(100)
    if not head and not _beside(file, "-sums").exists():
        return  # made a moment ago
    if not head:
        raise Unusable(file, "", f"expected a store; this file is empty: {_BRING_BACK}, or delete it for a new one")
    if not head.startswith(_MAGIC):
        raise Unusable(file, "", "expected a store; this file is something else or damaged: bring back a copy of it")
    try:
        with closing(sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro&immutable=1", uri=True)) as only:
            mark = int(only.execute("PRAGMA application_id").fetchone()[0])
            tables = {name for (name,) in only.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
            ours = not tables or ("store_version" in tables and _versions_are_ours(only))
    except (sqlite3.Error, UnicodeDecodeError) as fault:
        raise _damaged(file, str(fault)) from None
    if mark != APPLICATION and (mark or not ours):
        raise _another_s(file, ", ".join(sorted(tables))[:80])


def _versions_are_ours(only: sqlite3.Connection) -> bool:
    """Whether a table of the name of ours holds what ours does; stores from before the mark have that alone."""
    columns = {name for _, name, *_ in only.execute("PRAGMA table_info(store_version)")}
    if not {"version", "software", "applied_at"} <= columns:
        return False
    return all(str(made).startswith("brightbowl ") for (made,) in only.execute("SELECT software FROM store_version"))


def _another_s(file: Path, tables: str) -> Unusable:
    return Unusable(file, "", "expected a store; this is another program's and was left as it is", f"tables {tables}")


def _damaged(file: Path, what: str) -> Unusable:
    return Unusable(file, "", f"expected a sound store; this one is damaged: {_BRING_BACK}", what)


def _as_left(file: Path) -> bool:
    """Whether the pages are as the last user left them; False where nothing tells.

    Raises
    ------
    Unusable
        A page is another, though nobody has written to the file.
    """
    sums = _beside(file, "-sums")
    try:
        kept = sums.read_bytes()
    except OSError:
        return False
    if len(kept) < _HEAD.size + 4 or zlib.crc32(kept[:-4]) != struct.unpack("<I", kept[-4:])[0]:
        return False
    mark, size, time_ns, page = _HEAD.unpack_from(kept)
    found = file.stat()
    if mark != _SUMS or (size, time_ns) != (found.st_size, found.st_mtime_ns):
        return False
    for number, (before, now) in enumerate(zip(_unpacked(kept), _page_sums(file, page), strict=False), 1):
        if before != now:
            raise _damaged(file, f"page {number} changed by itself")
    return True


def _unpacked(kept: bytes) -> tuple[int, ...]:
    body = kept[_HEAD.size : -4]
    return struct.unpack(f"<{len(body) // 4}I", body)


def _page_sums(file: Path, page: int) -> list[int]:
    sums = []
    with file.open("rb") as opened:
        while some := opened.read(256 * page):
            view = memoryview(some)
            sums += [zlib.crc32(view[at : at + page]) for at in range(0, len(some), page)]
    return sums


def _leave_sums(file: Path) -> None:
    """Write the sums of a store that is whole in its file: nothing of it lies in a log."""
    if _size(_beside(file, "-wal")):
        return
    found = file.stat()
    with file.open("rb") as opened:
        page = struct.unpack_from(">H", opened.read(18), 16)[0]
    page = 65_536 if page == 1 else page  # as SQLite's file format has it
    sums = _page_sums(file, page)
    body = _HEAD.pack(_SUMS, found.st_size, found.st_mtime_ns, page) + struct.pack(f"<{len(sums)}I", *sums)
    fresh = _beside(file, f"-sums.{os.getpid()}.tmp")
    fresh.write_bytes(body + struct.pack("<I", zlib.crc32(body)))
    fresh.replace(_beside(file, "-sums"))


def _try_log(file: Path) -> bool:
    """Whether a log that was left beside a store is its own: both are walked as a copy, before they become one.

    Raises
    ------
    Unusable
        They don't fit.
    """
    log = _beside(file, "-wal")
    if _size(file) + _size(log) > _COPIED_MOST:
        return False
    from app.store.database.connection import open_store  # it uses this module

    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "store.sqlite"
        shutil.copyfile(file, copy)
        shutil.copyfile(log, _beside(copy, "-wal"))
        try:
            open_store(copy, try_log=False).close()
        except Unusable as fault:
            expected = (
                f"expected a store with its own log; if it was brought back from a copy, remove {log.name} and "
                f"{file.name}-shm beside it; else {_BRING_BACK}"
            )
            raise Unusable(file, log.name, expected, fault.found or fault.expected) from None
    return True
