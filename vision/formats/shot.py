"""A tray shot's folder: `shot.json` and the frames it names, or frames by their agreed names alone."""

import re
from collections.abc import Iterable
from pathlib import Path, PurePosixPath
from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from vision.errors import Incomplete, Unusable
from vision.formats.bounded import as_text_name, reached
from vision.formats.frame_names import MOST_FRAMES, check_inside, named_shots, the_named_shot
from vision.formats.strict import FormatOne, Name, Process, Strict, Text, as_folder_name, as_time, read_json
from vision.records import FrameFile, Light, Shot, Station

_LOW_NAME = re.compile(r"low-(\d{3})\.png")
_BARE_BACK, _BARE_DOME = "back.png", "dome.png"


TrayName = Annotated[Text, AfterValidator(as_folder_name)]


class _FrameTable(Strict):
    file: Name
    light: Light
    azimuth_deg: Annotated[float, Field(ge=-360.0, le=360.0)] | None = None
    sha256: Annotated[str, Field(pattern="^[0-9a-fA-F]{64}$")] | None = None

    @model_validator(mode="after")
    def _azimuth_goes_with_low(self) -> Self:
        if self.light == "low" and self.azimuth_deg is None:
            raise ValueError(f"azimuth_deg expected for the low light {self.file}")
        if self.light != "low" and self.azimuth_deg is not None:
            raise ValueError(f"no azimuth_deg expected for the {self.light} light {self.file}")
        return self


class _ShotFile(Strict):
    format: FormatOne
    tray: TrayName
    lot: Text
    part: Name
    station: Name
    taken_at: Annotated[str, AfterValidator(as_time)]
    retake: bool = False
    process: Process = Field(default_factory=dict)
    frames: Annotated[list[_FrameTable], Field(min_length=1, max_length=MOST_FRAMES)]

    @model_validator(mode="after")
    def _lights_are_complete(self) -> Self:
        lights = [frame.light for frame in self.frames]
        names = [frame.file for frame in self.frames]
        if lights.count("back") != 1:
            raise ValueError(f"frames: exactly one frame of light back expected, found {lights.count('back')}")
        if lights.count("dome") > 1:
            raise ValueError(f"frames: at most one frame of light dome expected, found {lights.count('dome')}")
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"frames: each file once expected, found {twice[0]} more than once")
        return self


def read_shot(folder: Path, stations: Iterable[Station] = ()) -> Shot:
    """Read what a shot's folder says of itself; no frame is opened.

    Without `shot.json`, frames that bear a station's names are a shot of that station. So is a folder that holds
    `back.png`: the tray is named as the folder, and lot, part and station stay None.

    Parameters
    ----------
    folder
        The shot's folder.
    stations
        Those that may have taken a shot without `shot.json`; asked for only where there is none.

    Returns
    -------
    Shot
        Its identity and its frames' files.

    Raises
    ------
    Unusable
        Where the folder is no shot, `shot.json` is at fault, or a frame is outside the folder; `Incomplete` where
        `shot.json` or a frame is absent.

    Examples
    --------
    >>> shot = read_shot(Path("demo/plain-2611-00"))
    >>> shot.tray, shot.part, [frame.light for frame in shot.frames]
    ('plain-2611-00', 'TS-135', ['back'])
    """
    as_text_name(folder)
    with reached(folder):
        if _named(folder, "shot.json"):
            return _described(folder)
        empty = folder.is_dir() and not any(folder.iterdir())
        if not empty and (named := the_named_shot(folder, stations)) is not None:
            return named
        if (folder / _BARE_BACK).exists():
            return _bare(folder)
    expected = "a tray shot expected: shot.json, frames named as [frames] of the station says, or back.png"
    raise Incomplete(folder, "shot.json", expected, "an empty folder" if empty else "none of them")


def is_shot(folder: Path, stations: Iterable[Station] = ()) -> bool:
    """Whether a folder holds what makes it a shot, which may still be at fault.

    Parameters
    ----------
    folder
        Any folder.
    stations
        Those that may have taken shots without `shot.json`.

    Returns
    -------
    bool
        True where it holds `shot.json`, `back.png`, or a frame named as one of the stations names them.
    """
    try:
        if any(_named(folder, name) for name in ("shot.json", _BARE_BACK)):
            return True
    except (OSError, ValueError):  # of another user, or a name that none can be
        return False
    try:
        return any(named_shots(folder, station) for station in stations)
    except Unusable:
        return True  # frames of a station's names, which is what they are told of when they are read


def has_shot_file(folder: Path) -> bool:
    """Whether a folder says itself what it is a shot of; False too where that can't be asked, as `read_shot` tells.

    Parameters
    ----------
    folder
        Any folder.

    Returns
    -------
    bool
        True where it holds `shot.json`.
    """
    try:
        return _named(folder, "shot.json")
    except (OSError, ValueError):
        return False


def _named(folder: Path, name: str) -> bool:
    """Whether something of that name lies in a folder, be it a link that leads nowhere, which is then told."""
    try:
        (folder / name).lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    return True


def find_shots(
    folders: Iterable[Path], leave_out: Path | None = None, stations: Iterable[Station] = ()
) -> tuple[Path, ...]:
    """The folders to read as shots: each one given, or where it is none itself, the folders in it by name.

    Hidden folders and `leave_out` (where results go) are passed over, a folder met twice counts once. Whether a
    folder really is a shot, `read_shot` says.

    Parameters
    ----------
    folders
        Shots, or folders of them.
    leave_out
        A folder that is passed over; None: none.
    stations
        Those that may have taken shots without `shot.json`.

    Returns
    -------
    tuple[Path, ...]
        The shots' folders, each once, in the order given and by name within a folder.

    Raises
    ------
    Unusable
        Where a folder can't be listed.
    """
    found: dict[Path, Path] = {}
    known = tuple(stations)
    without = leave_out.resolve() if leave_out else None
    for given in folders:
        try:
            inner = sorted(path for path in given.iterdir() if path.is_dir() and not path.name.startswith("."))
        except (OSError, ValueError) as fault:
            said = fault.strerror if isinstance(fault, OSError) and fault.strerror else str(fault)
            raise Unusable(given, "", "a readable folder expected", said) from None
        for path in [given] if not inner or is_shot(given, known) else inner:
            if path.resolve() != without:
                found.setdefault(path.resolve(), path)
    return tuple(found.values())


def _described(folder: Path) -> Shot:
    table = read_json(folder / "shot.json", _ShotFile)
    frames = tuple(
        FrameFile(_inside(folder, frame.file, f"frames[{index}].file"), frame.light, frame.azimuth_deg, frame.sha256)
        for index, frame in enumerate(table.frames, start=1)
    )
    return Shot(
        folder=folder,
        tray=table.tray,
        lot=table.lot,
        part=table.part,
        station=table.station,
        taken_at=table.taken_at,
        process=table.process,
        frames=frames,
        retake=table.retake,
    )


def _inside(folder: Path, name: str, key: str) -> Path:
    """The frame's path, once it is sure to lie in the shot's folder, links followed."""
    where = folder / "shot.json"
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts or "\\" in name or re.match(r"[A-Za-z]:", name):
        raise Unusable(where, key, "a file inside the shot's folder expected, named relative to it", repr(name))
    frame = folder / path
    try:
        whole = frame.resolve(strict=True)
    except RuntimeError:  # as Python before 3.13 has it
        raise Unusable(where, key, "a file expected", f"{name} is a link to itself") from None
    except FileNotFoundError:
        expected = "this frame is absent; copy it into the folder or correct its name"
        raise Incomplete(where, key, expected, name) from None
    if not whole.is_relative_to(folder.resolve()):
        raise Unusable(
            where,
            key,
            "a file inside the shot's folder expected; put the frame itself there",
            f"{name} is a link that leads out of it",
        )
    if not whole.is_file():
        raise Unusable(where, key, "a file expected", f"{name} is none")
    return frame


def _bare(folder: Path) -> Shot:
    """A shot without `shot.json`: its frames are told by their names."""
    name = folder.resolve().name
    try:
        tray = as_folder_name(name)
    except ValueError as fault:
        raise Unusable(folder, "tray", str(fault), repr(name)) from None
    frames = [FrameFile(folder / _BARE_BACK, "back")]
    if (folder / _BARE_DOME).exists():
        frames.append(FrameFile(folder / _BARE_DOME, "dome"))
    for path in sorted(folder.glob("low*.png")):
        match = _LOW_NAME.fullmatch(path.name)
        if match is None or int(match[1]) >= 360:
            raise Unusable(path, "", "a frame named low-AAA.png expected, AAA its azimuth from 000 to 359 degrees")
        frames.append(FrameFile(path, "low", float(match[1])))
    for frame in frames:
        check_inside(frame.path, folder)
    return Shot(
        folder=folder, tray=tray, lot=None, part=None, station=None, taken_at=None, process={}, frames=tuple(frames)
    )
