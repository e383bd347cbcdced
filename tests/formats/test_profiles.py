"""`profiles.npz`: what is written is read again, and whatever is no such file is refused in a line."""

import zipfile
from pathlib import Path

import numpy as np
import pytest

from vision.errors import Unusable
from vision.formats.profiles import PROFILES_FILE, read_profiles, write_profiles
from vision.records.measured import DeviationProfile

GOOD = b"{'descr': '<f4', 'fortran_order': False, 'shape': (2, 2), }"


def npz(path: Path, head: bytes, packed: int = zipfile.ZIP_DEFLATED) -> Path:
    """A file of one array whose head (NumPy's format, version 1.0) is as given."""
    head = head.ljust(117) + b"\n"
    body = b"\x93NUMPY\x01\x00" + len(head).to_bytes(2, "little") + head + bytes(16)
    with zipfile.ZipFile(path, "w", packed) as out:
        out.writestr("piece_1.npy", body)
    return path


def test_profiles_are_read_as_they_were_written(tmp_path: Path) -> None:
    s_mm = np.arange(0.0, 10.0, 0.25)
    places = np.zeros((len(s_mm), 2))
    write_profiles(tmp_path / PROFILES_FILE, {3: DeviationProfile(s_mm, places, places, s_mm / 100.0)})
    ((number, found),) = read_profiles(tmp_path / PROFILES_FILE).items()
    assert number == 3
    np.testing.assert_allclose(found.deviation_mm, found.s_mm / 100.0, rtol=1e-6)
    assert len(read_profiles(npz(tmp_path / "one.npz", GOOD))[1].s_mm) == 2


@pytest.mark.parametrize(
    "head",
    [GOOD.replace(b")", b" "), b"  1\n 2", b"'''", GOOD.replace(b"<f4", b"<z9"), b"\xff" * 20, b"{}", b"1" * 110],
    ids=["unclosed", "indented", "text without end", "unknown type", "no text", "empty", "a number"],
)
def test_a_head_that_can_not_be_read_is_refused(tmp_path: Path, head: bytes) -> None:
    with pytest.raises(Unusable, match="inspect again"):
        read_profiles(npz(tmp_path / "bad.npz", head))


@pytest.mark.parametrize("packed", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_what_is_packed_in_another_way_is_refused(tmp_path: Path, packed: int) -> None:
    with pytest.raises(Unusable, match="packed in another way"):
        read_profiles(npz(tmp_path / "other.npz", GOOD, packed))
