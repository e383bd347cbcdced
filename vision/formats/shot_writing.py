"""shot.json, as written for frames that came without one."""

import json
from pathlib import Path

from vision.errors import Unusable
from vision.formats.atomic_write import write_atomic
from vision.records import Shot


def write_shot(shot: Shot) -> Path:
    """Write a shot's `shot.json` into its folder, whole or not at all; what `read_shot` reads back is equal.

    Parameters
    ----------
    shot
        With its lot, part, station and time; its frames lie in its folder.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    Unusable
        Lot, part, station or time is missing, or the file can't be written.
    """
    file = shot.folder / "shot.json"
    for key in ("lot", "part", "station", "taken_at"):
        if getattr(shot, key) is None:
            raise Unusable(file, key, "a shot that says it expected", "none")
    frames = []
    for frame in shot.frames:
        stated = {"azimuth_deg": frame.azimuth_deg, "sha256": frame.sha256}
        name = frame.path.relative_to(shot.folder).as_posix()
        frames.append({"file": name, "light": frame.light, **{k: v for k, v in stated.items() if v is not None}})
    table = {key: getattr(shot, key) for key in ("tray", "lot", "part", "station", "taken_at")}
    optional = {"process": dict(shot.process), "retake": shot.retake}
    content = {"format": 1, **table, **{key: value for key, value in optional.items() if value}, "frames": frames}
    write_atomic(file, json.dumps(content, ensure_ascii=False, indent=1) + "\n")
    return file
