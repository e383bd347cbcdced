"""station.toml: a calibrated camera above a tray."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any, Self

import numpy as np
from pydantic import AfterValidator, Field, model_validator

from vision.formats.corrections import CorrectionTable, correction_table, in_order
from vision.formats.frame_names import as_lights, as_pattern, fields_of
from vision.formats.strict import FormatOne, Length, Name, Place, Strict, Text, as_model, as_time, read_toml
from vision.records import VALID_DAYS, Camera, FrameNames, HalfAngle, Lens, Light, LightLimits, Lights, Station

_Row = Annotated[list[float], Field(min_length=3, max_length=3)]
_Matrix = Annotated[list[_Row], Field(min_length=3, max_length=3)]
_Positive = Annotated[float, Field(gt=0.0)]
LEAST_MM_PER_PX, MOST_MM_PER_PX = 1e-4, 10.0
_DISTORTION_LENGTHS = (4, 5, 8, 12, 14)  # of OpenCV's pinhole model


def _as_homography(rows: list[list[float]]) -> list[list[float]]:
    # Relative to the size of the rows: 1e-12 is far below any plane that a camera can see.
    norms = np.linalg.norm(rows, axis=1)
    if rows[2][2] == 0.0 or abs(np.linalg.det(rows)) <= 1e-12 * float(np.prod(norms)):
        raise ValueError("an invertible 3 x 3 matrix with its last number not 0 expected")
    return rows


def _as_camera_matrix(rows: list[list[float]]) -> list[list[float]]:
    if rows[0][0] <= 0.0 or rows[1][1] <= 0.0 or rows[1][0] != 0.0 or rows[2] != [0.0, 0.0, 1.0]:
        raise ValueError("[[fx, 0, cx], [0, fy, cy], [0, 0, 1]] with fx and fy above 0 expected")
    return rows


def _as_distortion(numbers: list[float]) -> list[float]:
    if len(numbers) not in _DISTORTION_LENGTHS:
        raise ValueError(f"{', '.join(map(str, _DISTORTION_LENGTHS))} numbers expected, as OpenCV's pinhole model has")
    return numbers


class _Scale(Strict):
    # From a tenth of a micrometre, less than light can part, to a centimetre, in which no piece would be seen.
    mm_per_px: Annotated[float, Field(ge=LEAST_MM_PER_PX, le=MOST_MM_PER_PX)]


class _Plane(Strict):
    homography: Annotated[_Matrix, AfterValidator(_as_homography)]


class _Lens(Strict):
    camera_matrix: Annotated[_Matrix, AfterValidator(_as_camera_matrix)]
    distortion: Annotated[list[float], AfterValidator(_as_distortion)]


class _Camera(Strict):
    height_mm: Annotated[Length, Field(ge=1.0)]
    foot_mm: Place


class _Uncertainty(Strict):
    outline_mm: Length
    scale_relative: Annotated[float, Field(ge=0.0, lt=1.0)]


class _Sensor(Strict):
    full_scale: Annotated[float, Field(gt=0.0, le=65535.0)]


_Share = Annotated[float, Field(ge=0.0, le=1.0)]


class _Light(Strict):
    level_min: _Share | None = None
    level_max: _Share | None = None
    full_max: _Share | None = None
    darkest_min: _Share | None = None
    blur_max_px: _Positive | None = None

    @model_validator(mode="after")
    def _room_between(self) -> Self:
        if self.level_min is not None and self.level_max is not None and self.level_min >= self.level_max:
            raise ValueError(f"level_min below level_max expected, found {self.level_min} and {self.level_max}")
        return self


class _Calibrated(Strict):
    at: Annotated[str, AfterValidator(as_time)]
    valid_days: Annotated[float, Field(gt=0.0, le=36_525.0)] = VALID_DAYS  # a century


_Levels = Annotated[list[_Share], Field(min_length=2, max_length=2)]


class _Lights(Strict):
    dome: bool = False
    low_deg: list[Annotated[float, Field(ge=0.0, lt=360.0)]] = Field(default_factory=list, max_length=400)
    dome_level: _Levels | None = None
    low_level: _Levels | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        for name, levels in (("dome_level", self.dome_level), ("low_level", self.low_level)):
            if levels is not None and levels[0] >= levels[1]:
                raise ValueError(f"{name}: the least below the most expected, found {levels[0]} and {levels[1]}")
        return self


class _Backlight(Strict):
    half_angle_deg: Annotated[float, Field(ge=0.0, lt=90.0)]
    half_angle_u_deg: Annotated[float, Field(ge=0.0, lt=90.0)]


class _Frames(Strict):
    name: Annotated[Text, AfterValidator(as_pattern)]
    lights: Annotated[dict[Text, Any], AfterValidator(as_lights)]
    tray: Text | None = None
    part: Name | None = None

    @model_validator(mode="after")
    def _tray_is_made_of_the_name(self) -> Self:
        if self.tray is not None and (unknown := fields_of(self.tray) - (fields_of(self.name) - {"light"})):
            raise ValueError(f"tray: fields that stand in name too, and not {{light}}, expected, found {min(unknown)}")
        return self


class _StationFile(Strict):
    format: FormatOne
    station: Name
    scale: _Scale | None = None
    plane: _Plane | None = None
    lens: _Lens | None = None
    camera: _Camera | None = None
    uncertainty: _Uncertainty
    sensor: _Sensor | None = None
    light: _Light | None = None
    calibrated: _Calibrated | None = None
    lights: _Lights | None = None
    backlight: _Backlight | None = None
    frames: _Frames | None = None
    correction: Annotated[list[CorrectionTable], Field(max_length=1000), AfterValidator(in_order)] = Field(
        default_factory=list
    )

    @model_validator(mode="after")
    def _one_way_to_mm(self) -> Self:
        if (self.scale is None) == (self.plane is None):
            raise ValueError("either [scale] or [plane] expected, found " + ("both" if self.scale else "neither"))
        return self


def read_station(path: Path) -> Station:
    """Read a station.

    Parameters
    ----------
    path
        `station.toml`.

    Returns
    -------
    Station
        The camera, its scale and its standard uncertainties.

    Raises
    ------
    Unusable
        Naming the key at fault.

    Examples
    --------
    >>> station = read_station(Path("demo/station.toml"))
    >>> station.station, station.outline_mm
    ('ST-1', 0.0005)
    """
    table = read_toml(path, _StationFile)
    if table.plane:
        homography = np.array(table.plane.homography)
    else:
        assert table.scale  # the model lets one of the two through
        homography = np.diag([table.scale.mm_per_px, -table.scale.mm_per_px, 1.0])
    lens, camera, backlight = table.lens, table.camera, table.backlight
    return Station(
        station=table.station,
        homography=homography,
        lens=Lens(np.array(lens.camera_matrix), np.array(lens.distortion)) if lens else None,
        camera=Camera(camera.height_mm, (camera.foot_mm[0], camera.foot_mm[1])) if camera else None,
        outline_mm=table.uncertainty.outline_mm,
        scale_relative=table.uncertainty.scale_relative,
        full_scale=table.sensor.full_scale if table.sensor else None,
        light=LightLimits(**table.light.model_dump()) if table.light else LightLimits(),
        calibrated_at=table.calibrated.at if table.calibrated else None,
        valid_days=table.calibrated.valid_days if table.calibrated else VALID_DAYS,
        lights=_lights(table.lights) if table.lights else Lights(),
        backlight=HalfAngle(backlight.half_angle_deg, backlight.half_angle_u_deg) if backlight else None,
        frames=_frames(table.frames) if table.frames else None,
        corrections=tuple(one.record() for one in table.correction),
    )


def _frames(table: _Frames) -> FrameNames:
    lights: list[tuple[str, Light, float | None]] = [
        (code, said, None) if said in ("back", "dome") else (code, "low", float(said))
        for code, said in table.lights.items()
    ]
    tray = table.tray or ("{tray}" if "tray" in fields_of(table.name) else None)
    return FrameNames(table.name, tuple(lights), tray, table.part)


def names_of_frames(path: Path, table: dict[str, Any]) -> FrameNames:
    """How a camera names frames, from a table as `[frames]` of its station has it.

    Parameters
    ----------
    path
        The station's file, into which it is to go.
    table
        Keys and values.

    Returns
    -------
    FrameNames
        The names.

    Raises
    ------
    Unusable
        A key is wrong.
    """
    return _frames(as_model(path, table, _Frames))


def _lights(table: _Lights) -> Lights:
    levels = [(pair[0], pair[1]) if pair else None for pair in (table.dome_level, table.low_level)]
    return Lights(table.dome, tuple(table.low_deg), *levels)


def station_table(station: Station) -> dict[str, Any]:
    """A station as its file's tables."""
    mm_per_px = float(station.homography[0, 0])
    plain = np.array_equal(station.homography, np.diag([mm_per_px, -mm_per_px, 1.0]))
    table: dict[str, Any] = {"format": 1, "station": station.station}
    if plain:
        table["scale"] = {"mm_per_px": mm_per_px}
    else:
        table["plane"] = {"homography": station.homography.tolist()}
    if station.lens:
        table["lens"] = {
            "camera_matrix": station.lens.camera_matrix.tolist(),
            "distortion": station.lens.distortion.tolist(),
        }
    if station.camera:
        table["camera"] = {"height_mm": station.camera.height_mm, "foot_mm": list(station.camera.foot_mm)}
    table["uncertainty"] = {"outline_mm": station.outline_mm, "scale_relative": station.scale_relative}
    if station.full_scale is not None:
        table["sensor"] = {"full_scale": station.full_scale}
    if light := {key: value for key, value in asdict(station.light).items() if value is not None}:
        table["light"] = light
    if station.calibrated_at is not None:
        table["calibrated"] = {"at": station.calibrated_at, "valid_days": station.valid_days}
    if station.lights != Lights():
        table["lights"] = {
            key: value for key, value in asdict(station.lights).items() if value not in (None, (), False)
        }
    if station.backlight:
        table["backlight"] = {
            "half_angle_deg": station.backlight.half_deg,
            "half_angle_u_deg": station.backlight.u_deg,
        }
    if station.frames:
        table["frames"] = _frames_table(station.frames)
    if station.corrections:
        table["correction"] = [correction_table(one) for one in station.corrections]
    return table


def _frames_table(names: FrameNames) -> dict[str, Any]:
    lights = {code: light if azimuth is None else azimuth for code, light, azimuth in names.lights}
    optional = {"tray": names.tray, "part": names.part}
    stated = {key: value for key, value in optional.items() if value is not None}
    return {"name": names.pattern, "lights": lights, **stated}
