"""Files written whole or not at all."""

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from vision.errors import Unusable


def write_atomic(path: Path, content: bytes | str) -> None:
    """Write a file so that a reader sees the old one or the new one, never a part: beside it first, then renamed.

    Parameters
    ----------
    path
        Its folder must exist; an old file of this name is replaced.
    content
        Bytes, or text that is written in UTF-8 as it stands.

    Raises
    ------
    Unusable
        Where the folder can't be written or the disk is full; nothing is left behind.
    """
    with replacing(path) as file:
        file.write(content.encode() if isinstance(content, str) else content)


@contextmanager
def replacing(path: Path) -> Iterator[BinaryIO]:
    """A file beside another, which takes its place at the end; nothing is left where that fails."""
    beside = path.with_name(f".{path.name[:60]}-{secrets.token_hex(6)}.tmp")
    try:
        with beside.open("xb") as file:
            with suppress(FileNotFoundError):
                beside.chmod(path.stat().st_mode & 0o777)  # as whoever set them wanted
            yield file
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as fault:
        raise not_written(path, fault) from None
    finally:
        with suppress(OSError):
            beside.unlink(missing_ok=True)


def not_written(path: Path, fault: OSError) -> Unusable:
    """Why a file or folder can't be written, as the one line that a person reads.

    Parameters
    ----------
    path
        The file or folder that was to be written.
    fault
        What the system said.

    Returns
    -------
    Unusable
        The error to raise.
    """
    return Unusable(path, "", "can't be written; free space or choose another folder", fault.strerror or str(fault))
