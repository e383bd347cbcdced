"""Files are written whole or not at all."""

import errno
import os
from pathlib import Path

import pytest

from tests.formats.made import one_line
from vision.errors import Unusable
from vision.formats.atomic_write import write_atomic


def test_a_file_is_written_and_replaced(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    write_atomic(path, "first ü\r\n")
    assert path.read_bytes() == "first ü\r\n".encode()
    write_atomic(path, b"\x00second")
    assert path.read_bytes() == b"\x00second"
    assert list(tmp_path.iterdir()) == [path]


def test_a_new_file_has_the_permissions_of_any_other(tmp_path: Path) -> None:
    (tmp_path / "plain").touch()
    write_atomic(tmp_path / "whole", b"")
    assert (tmp_path / "whole").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_a_full_disk_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.txt"
    write_atomic(path, "old")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(Unusable) as caught:
        write_atomic(path, "new")
    one_line(caught.value, "a.txt", "free space", "No space left on device")
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_none_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(Unusable) as caught:
        write_atomic(tmp_path / "file" / "a.txt", "new")
    one_line(caught.value, "a.txt", "choose another folder", "Not a directory")


def test_a_folder_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.txt").mkdir()
    with pytest.raises(Unusable) as caught:
        write_atomic(tmp_path / "a.txt", "new")
    one_line(caught.value, "a.txt", "can't be written")
    assert list(tmp_path.iterdir()) == [tmp_path / "a.txt"]
