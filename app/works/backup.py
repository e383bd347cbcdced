"""A works' backup: its store and the files that judge, in one file, checked after it was written; and back again.

Frames and results stay out: they are many, never change, and results that the backup lacks are filed again from them.
"""

import hashlib
import json
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from app.store import Head, copy_store, copy_to_file, file_digest, head_of, in_use, note_walked, open_store, verify
from app.works.folder import FOLDERS, WORKS_FILE, Works, read_works
from app.works.results_on_disk import Filing, FolderFiling, file_folders, result_folders
from vision.errors import Unusable
from vision.formats import BROKEN

_STORE, _TABLE = "store.sqlite", "backup.json"
_TABLE_BYTES = 64_000_000
_JUDGING = ("parts", "stations", "limits", "judges", "checks")


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did: the head brought back, the store set aside, files kept as they were, newer results."""

    head: Head
    aside: Path | None
    kept: tuple[str, ...]
    newer: FolderFiling | None


def back_up(works: Works, out: Path) -> Head:
    """Write a backup while the works goes on, then check it; the head of what it holds.

    Parameters
    ----------
    works
        The works.
    out
        A file that is not there yet.

    Returns
    -------
    Head
        The chain's head in the backup.

    Raises
    ------
    Unusable
        It is there already, can't be written, or does not hold when it is read again.
    """
    if out.exists():
        raise Unusable(out, "", "a new file, so that no backup is overwritten", "a file that exists")
    with tempfile.TemporaryDirectory(dir=out.parent if out.parent.is_dir() else None) as folder:
        copied = Path(folder) / _STORE
        with closing(works.open()) as store:
            copy_to_file(store, copied)
        with closing(open_store(copied, must_exist=True)) as store, store.read() as connection:
            head = head_of(connection)
        table = {"format": 1, "made_at": datetime.now(UTC).isoformat(timespec="seconds"), "head": str(head)}
        written = out.with_name(f".{out.name}.tmp")
        try:
            with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as pack:
                pack.write(copied, _STORE)
                digests = {_STORE: file_digest(copied)}
                for path in _judging(works):
                    with suppress(FileNotFoundError):  # people work on: a file may go or grow meanwhile
                        content = path.read_bytes()
                        name = path.relative_to(works.folder).as_posix()
                        pack.writestr(name, content)
                        digests[name] = hashlib.sha256(content).hexdigest()
                pack.writestr(_TABLE, json.dumps({**table, "files": digests}))
            check_backup(written)
            written.rename(out)
        except OSError as fault:
            raise Unusable(out, "", "a place where a backup can be written", fault.strerror or "") from None
        finally:
            written.unlink(missing_ok=True)
    return head


def _judging(works: Works) -> Iterator[Path]:
    """The works' own file and those that judge; what is only being written has a hidden name."""
    yield works.folder / WORKS_FILE
    for kind in _JUDGING:
        yield from sorted(one for one in (works.folder / kind).rglob("*") if one.is_file() and one.name[0] != ".")


def check_backup(file: Path) -> Head:
    """Read a backup whole: every file by its digest, every link of its store's chain; its head.

    Raises
    ------
    Unusable
        It is no backup, or something of it does not hold.
    """
    with tempfile.TemporaryDirectory() as folder:
        return _unpacked(file, Path(folder))


def _unpacked(file: Path, folder: Path) -> Head:
    """Unpack a backup and check all of it."""
    try:
        with zipfile.ZipFile(file) as pack:
            size, free = sum(one.file_size for one in pack.infolist()), shutil.disk_usage(folder).free
            if size > free or pack.getinfo(_TABLE).file_size > _TABLE_BYTES:
                room = f"room for the {size / 1e9:.1f} GB that the backup unpacks to, in {folder}"
                raise Unusable(file, "", room, f"{free / 1e9:.1f} GB")
            table = json.loads(pack.read(_TABLE))
            names = set(pack.namelist()) - {_TABLE}
            pack.extractall(folder, members=sorted(names))
        expected, words = dict(table["files"]), str(table["head"])
    except (OSError, zipfile.BadZipFile, *BROKEN) as fault:
        raise Unusable(file, "", "a backup as `brightbowl backup` writes it", type(fault).__name__) from None
    if names != set(expected):
        raise Unusable(file, "", "the files that the backup lists", ", ".join(sorted(names ^ set(expected))))
    for name, digest in expected.items():
        if file_digest(folder / name) != digest:
            raise Unusable(file, name, "the file as it was backed up; take another backup", "a changed one")
    links, _, hashed = words.partition(":")
    known = Head(int(links), hashed)
    with closing(open_store(folder / _STORE, must_exist=True)) as store:
        broken = verify(store, None, known).broken
    if broken:
        raise Unusable(file, _STORE, "a store whose chain holds", broken[0].what)
    return known


def restore(file: Path, folder: Path) -> Restored:
    """Bring a backup into a works folder, new or in use; then file the results that are newer than it.

    A store that is there is set aside, never overwritten; files that judge stay as they are where they differ. A store
    in PostgreSQL must be empty: that is also how a works moves there from SQLite.

    Parameters
    ----------
    file
        A backup.
    folder
        A works folder, new or in use.

    Returns
    -------
    Restored
        The backup's head, what was kept or set aside, and what was filed anew.

    Raises
    ------
    Unusable
        The backup does not hold, or the place can't be used.
    """
    with tempfile.TemporaryDirectory() as unpacked:
        head = _unpacked(file, Path(unpacked))
        kept = _bring_files(Path(unpacked), folder)
        works = read_works(folder)
        aside = None
        if "://" not in works.store_address:
            aside = _set_aside(works.folder / works.store_address)
        with closing(open_store(Path(unpacked) / _STORE, must_exist=True)) as old, closing(works.open()) as new:
            copy_store(old, new)
            if verify(new, None, head).broken:
                raise Unusable(new.url, "", "a restored store whose chain holds; take another backup")
            note_walked(new)
            newer = None
            if any(works.results.rglob("result.json")):
                newer = file_folders(new, works, result_folders(works.results), Filing((works.shots,)))
    return Restored(head, aside, kept, newer)


def _bring_files(unpacked: Path, folder: Path) -> tuple[str, ...]:
    """Put the files that judge where there are none; the names of those that were there and differ."""
    for kind in FOLDERS:
        (folder / kind).mkdir(parents=True, exist_ok=True)
    kept = []
    for path in sorted(one for one in unpacked.rglob("*") if one.is_file() and not one.name.startswith(_STORE)):
        place = folder / path.relative_to(unpacked)
        if not place.exists():
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(path.read_bytes())
        elif place.read_bytes() != path.read_bytes():
            kept.append(path.relative_to(unpacked).as_posix())
    return tuple(kept)


def _set_aside(store: Path) -> Path | None:
    """Move a store out of the way, its log with it.

    Raises
    ------
    Unusable
        Somebody has it open, and would go on writing into what was set aside.
    """
    if not store.exists():
        return None
    if in_use(store):
        raise Unusable(store, "", "a store that nobody has open; end serve, watch and hand-over, then restore")
    aside = store.with_name(f"{store.name}.before-{datetime.now(UTC):%Y%m%dT%H%M%S%f}")
    for ending in ("", "-wal", "-shm", "-sums"):
        part = store.with_name(store.name + ending)
        if part.exists():
            part.rename(aside.with_name(aside.name + ending))
    return aside
