"""Frames without shot.json, told by their names: a station's own pattern, its `[frames]`."""

import re
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from string import Formatter
from typing import Any

from vision.errors import Incomplete, Unusable
from vision.formats.bounded import reached
from vision.formats.strict import as_folder_name
from vision.records import FrameFile, FrameNames, Shot, Station

# What stands for a field; a counter is a number, so that `{lot}{counter}` can be told apart.
_FIELDS = {"light": "[^/]+?", "tray": "[^/]+?", "lot": "[^/]+?", "counter": r"\d+"}
# Twice each: a name is short, and a pattern with more would take long to hold against it.
_MOST_FIELDS = 2 * len(_FIELDS)
MOST_FRAMES = 400  # a low light each degree, and some


def _parsed(pattern: str) -> list[tuple[str, str | None]]:
    """Each literal stretch of a pattern, and the field after it.

    Raises
    ------
    ValueError
        It holds another field.
    """
    parts = []
    for literal, field, form, _ in Formatter().parse(pattern):
        if field is not None and (field not in _FIELDS or form):
            known = ", ".join(f"{{{name}}}" for name in _FIELDS)
            raise ValueError(f"one of {known} expected in braces, found {{{field}}}")
        parts.append((literal, field))
    return parts


def fields_of(pattern: str) -> set[str]:
    """The fields that stand in a pattern."""
    return {field for _, field in _parsed(pattern) if field is not None}


def as_pattern(pattern: str) -> str:
    """A pattern of frames' names, as a validator."""
    fields = [field for _, field in _parsed(pattern) if field is not None]
    if "light" not in fields or len(fields) > _MOST_FIELDS:
        raise ValueError(f"{{light}} expected in it, and at most {_MOST_FIELDS} fields")
    if pattern.count("/") > 1 or "\\" in pattern:
        raise ValueError("a file's name, or a folder's and a file's with one / between, expected")
    return pattern


def as_lights(lights: dict[str, Any]) -> dict[str, Any]:
    """What {light} may be and which light that is, as a validator."""
    for code, light in lights.items():
        if light in ("back", "dome"):
            continue
        if isinstance(light, bool) or not isinstance(light, int | float) or not 0.0 <= light < 360.0:
            raise ValueError(f'"back", "dome" or the azimuth of a low light, 0 to 360 degrees, expected for {code!r}')
    said = list(lights.values())
    if said.count("back") != 1 or said.count("dome") > 1 or len(said) > MOST_FRAMES:
        raise ValueError(f'one "back", at most one "dome" and at most {MOST_FRAMES} lights expected')
    if len({code.casefold() for code in lights}) < len(lights):
        raise ValueError("names that differ in more than upper and lower case expected")
    return lights


def _expression(names: FrameNames, light: str) -> re.Pattern[str]:
    """The pattern as an expression; {light} as given, what stands twice must be the same twice."""
    expression, met = "", set[str]()
    for literal, field in _parsed(names.pattern):
        expression += re.escape(literal)
        if field in met:
            expression += f"(?P={field})"
        elif field is not None:
            expression += f"(?P<{field}>{light if field == 'light' else _FIELDS[field]})"
            met.add(field)
    return re.compile(expression, re.IGNORECASE)  # a camera's own program writes .TIF as often as .tif


def named_shots(folder: Path, station: Station) -> tuple[Shot, ...]:
    """The shots in a folder whose frames bear a station's names, by their trays' names, complete or not.

    Other files are passed over. A shot was taken when its backlit frame was last written.

    Parameters
    ----------
    folder
        A folder of frames, of one tray or several.
    station
        The camera that took them; without `frames` there is no shot.

    Returns
    -------
    tuple[Shot, ...]
        Shots in that folder; lot and part are None where neither names nor station tell them.

    Raises
    ------
    Unusable
        The folder can't be listed, a frame's light is not one of the station's or is there twice, a link leads out of
        the folder, or a tray's name can't be a folder's.
    """
    names = station.frames
    if names is None:
        return ()
    lights = {code.casefold(): (light, azimuth) for code, light, azimuth in names.lights}
    # The longest first: of L1 and L10 the whole one.
    codes = "|".join(re.escape(code) for code in sorted(lights, key=len, reverse=True))
    known, any_light = _expression(names, codes), _expression(names, _FIELDS["light"])
    trays: dict[tuple[str, str | None], list[FrameFile]] = {}
    with reached(folder):
        place = folder.resolve()
        files = sorted(path for path in folder.iterdir() if not path.name.startswith(".") and path.is_file())
    for path in files:
        name = f"{place.name}/{path.name}" if "/" in names.pattern else path.name
        match = known.fullmatch(name)
        if match is None:
            if (other := any_light.fullmatch(name)) is not None:
                expected = f"one of the lights {', '.join(code for code, _, _ in names.lights)} expected in its name"
                raise Unusable(path, "", f"{expected}; correct [frames] of the station", other["light"])
            continue
        check_inside(path, folder)
        light, azimuth = lights[match["light"].casefold()]
        fields = match.groupdict()
        tray = place.name if names.tray is None else names.tray.format_map(fields)
        try:
            frames = trays.setdefault((as_folder_name(tray), fields.get("lot")), [])
        except ValueError as fault:
            raise Unusable(path, "tray", str(fault), repr(tray)) from None
        if any((one.light, one.azimuth_deg) == (light, azimuth) for one in frames):
            raise Unusable(path, "", f"one frame of each light of the tray {tray} expected", match["light"])
        frames.append(FrameFile(path, light, azimuth))
    return tuple(_shot(folder, station.station, names, tray, frames) for tray, frames in sorted(trays.items(), key=str))


def _shot(folder: Path, station: str, names: FrameNames, tray: tuple[str, str | None], frames: list[FrameFile]) -> Shot:
    order = [(light, azimuth) for _, light, azimuth in names.lights]
    frames.sort(key=lambda one: order.index((one.light, one.azimuth_deg)))
    back = next((one.path for one in frames if one.light == "back"), None)
    with reached(folder):
        written = None if back is None else datetime.fromtimestamp(back.stat().st_mtime, UTC)
    return Shot(
        folder=folder,
        tray=tray[0],
        lot=tray[1],
        part=names.part,
        station=station,
        taken_at=None if written is None else written.isoformat(timespec="milliseconds"),
        process={},
        frames=tuple(frames),
    )


def check_lights(shot: Shot, names: FrameNames) -> None:
    """Hold a shot against the lights that its station's names have: it is whole once all are there.

    Parameters
    ----------
    shot
        As `named_shots` found it.
    names
        Its station's.

    Raises
    ------
    Incomplete
        A light is missing yet.
    """
    there = {(one.light, one.azimuth_deg) for one in shot.frames}
    missing = [code for code, light, azimuth in names.lights if (light, azimuth) not in there]
    if missing:
        expected = f"a frame of each light of the tray {shot.tray} expected; take the shot again, or correct [frames]"
        raise Incomplete(shot.folder, "frames", expected, f"none of {', '.join(missing)}")


def the_named_shot(folder: Path, stations: Iterable[Station]) -> Shot | None:
    """The one shot in a folder whose frames bear the names of one of some stations; None where they bear none's.

    Raises
    ------
    Unusable
        The names are those of several stations or trays, or as `named_shots`; `Incomplete` while a light is missing.
    """
    found = [(one.frames, shots) for one in stations if one.frames and (shots := named_shots(folder, one))]
    if not found:
        return None
    if len(found) > 1:
        expected = "frames named as one station names them expected; give stations names that differ, in [frames]"
        raise Unusable(folder, "", expected, ", ".join(str(shots[0].station) for _, shots in found))
    ((names, shots),) = found
    if len(shots) > 1:
        expected = "frames of one tray expected; `brightbowl shot FOLDER --out DIR` sorts them into folders"
        raise Unusable(folder, "", expected, ", ".join(one.tray for one in shots))
    check_lights(shots[0], names)
    return shots[0]


def check_inside(path: Path, folder: Path) -> None:
    """Refuse a frame that is a link out of its shot's folder.

    Raises
    ------
    Unusable
        It is.
    """
    with reached(path):
        inside = path.resolve().is_relative_to(folder.resolve())
    if not inside:
        expected = "a file inside the shot's folder expected; put the frame itself there"
        raise Unusable(path, "", expected, "a link that leads out of it")
