"""The files that belong to what was filed: frames, results, pictures, each by the digest that it had then."""

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, func, insert, select

from app.store.database import schema
from app.store.database.connection import now
from app.store.evidence.verify import file_digest


@dataclass(frozen=True, slots=True)
class KeptFile:
    """A file by the path that the store keeps (relative to the works folder inside it), its digest and size."""

    path: str
    digest: str
    bytes: int


def kept_files(files: Iterable[tuple[str, Path]]) -> tuple[KeptFile, ...]:
    """Files as they are now, by the paths that the store keeps; those that are not there are left out.

    Parameters
    ----------
    files
        Each with its path as the store keeps it, and where it lies.

    Returns
    -------
    tuple[KeptFile, ...]
        Path, digest and size in bytes.
    """
    found = []
    for kept, path in files:
        with suppress(FileNotFoundError):  # it may go at any moment
            if path.is_file():
                found.append(KeptFile(kept, file_digest(path), path.stat().st_size))
    return tuple(found)


def file_kept(connection: Connection, files: Sequence[KeptFile]) -> None:
    """Keep the digests of files where they are new, or differ from what was kept last of the same path."""
    table = schema.kept_file
    newest = select(func.max(table.c.id)).where(table.c.path.in_([one.path for one in files])).group_by(table.c.path)
    query = select(table.c.path, table.c.digest).where(table.c.id.in_(newest))
    known = {row.path: row.digest for row in connection.execute(query)}
    rows = [
        {"path": one.path, "digest": one.digest, "bytes": one.bytes, "filed_at": now()}
        for one in files
        if known.get(one.path) != one.digest
    ]
    if rows:
        connection.execute(insert(table), rows)
