"""Deviation profiles beside a result: `result.json` leaves them out; the review page and a lot's mean need them."""

import tokenize
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from vision.errors import Unusable
from vision.formats.atomic_write import write_atomic
from vision.formats.bounded import BROKEN, TABLE_BYTES, read_bytes
from vision.records import Array, DeviationProfile

PROFILES_FILE = "profiles.npz"
STEP_MM = 0.25  # finer than any finding that counts; a teaspoon's outline is then some 1200 points


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """Deviations (mm, outward positive, nan where not seen) along the nominal (mm from its first vertex)."""

    s_mm: Array
    deviation_mm: Array


def thinned(profile: DeviationProfile) -> Profile:
    """A profile with a point about each `STEP_MM`: of each stretch what deviates most, so that no peak is lost."""
    n = len(profile.s_mm)
    spacing_mm = float(profile.s_mm[1] - profile.s_mm[0]) if n > 1 else STEP_MM
    every = max(1, round(STEP_MM / spacing_mm))
    starts = np.arange(0, n, every)
    size = np.where(np.isfinite(profile.deviation_mm), np.abs(profile.deviation_mm), -1.0)
    most = np.array([start + int(np.argmax(size[start : start + every])) for start in starts], dtype=np.int64)
    return Profile(profile.s_mm[starts], profile.deviation_mm[most])


def write_profiles(path: Path, profiles: Mapping[int, DeviationProfile]) -> None:
    """Write the profiles of a tray's pieces, by their numbers, thinned.

    Parameters
    ----------
    path
        `profiles.npz`; an old file of this name is replaced.
    profiles
        By piece number, as measured.

    Raises
    ------
    Unusable
        The file can't be written.
    """
    arrays: dict[str, Any] = {}
    for number, profile in profiles.items():
        kept = thinned(profile)
        arrays[f"piece_{number}"] = np.stack([kept.s_mm, kept.deviation_mm]).astype(np.float32)
    out = BytesIO()
    np.savez_compressed(out, **arrays)
    write_atomic(path, out.getvalue())


def read_profiles(path: Path) -> dict[int, Profile]:
    """The profiles in a file, by piece; none where there is no file.

    Parameters
    ----------
    path
        `profiles.npz`.

    Returns
    -------
    dict[int, Profile]
        By piece number: places along the nominal and deviations there, mm.

    Raises
    ------
    Unusable
        The file is something else or damaged.
    """
    if not path.exists():
        return {}
    try:
        data = read_bytes(path)
        with zipfile.ZipFile(BytesIO(data)) as packed:
            members = packed.infolist()
            if sum(one.file_size for one in members) > TABLE_BYTES:
                raise Unusable(path, "", f"profiles of at most {TABLE_BYTES // 1_000_000} MB unpacked expected")
            if any(one.compress_type not in (zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED) for one in members):
                raise zipfile.BadZipFile("packed in another way")
        with np.load(BytesIO(data), allow_pickle=False) as arrays:
            read = {int(name.removeprefix("piece_")): arrays[name].astype(np.float64) for name in arrays.files}
    except (zipfile.BadZipFile, tokenize.TokenError, SyntaxError, *BROKEN) as fault:  # NumPy reads heads as Python
        raise Unusable(
            path, "", "profiles as `brightbowl inspect` writes them expected; inspect again", str(fault)
        ) from None
    if any(one.ndim != 2 or len(one) != 2 for one in read.values()):
        raise Unusable(path, "", "two rows for each piece expected; inspect again")
    return {number: Profile(one[0], one[1]) for number, one in read.items()}
