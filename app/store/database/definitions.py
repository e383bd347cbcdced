"""Parts, stations, limits, findings and profiles as the store holds them: compressed JSON, and back to records."""

import hashlib
import json
import zlib
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np
from pydantic import TypeAdapter

from vision.formats import STEP_MM, Profile
from vision.records import (
    FIRST_DETECTION,
    VALID_DAYS,
    Camera,
    Correction,
    CountRule,
    Detection,
    Digests,
    Finding,
    HalfAngle,
    JudgedPiece,
    Lens,
    LightLimits,
    Lights,
    Limits,
    Pair,
    Part,
    Places,
    RimRadius,
    SeenMap,
    Station,
    Surface,
    Zone,
)

Kind = Literal["part", "station", "limits"]
"""What judges a tray."""
_LIMITS: TypeAdapter[Limits] = TypeAdapter(Limits)
_CORRECTIONS: TypeAdapter[tuple[Correction, ...]] = TypeAdapter(tuple[Correction, ...])
_FINDINGS: TypeAdapter[tuple[Finding, ...]] = TypeAdapter(tuple[Finding, ...])
_DETECTION: TypeAdapter[Detection] = TypeAdapter(Detection)
_FLAGS: TypeAdapter[tuple[bool, ...]] = TypeAdapter(tuple[bool, ...])
Behind = tuple[tuple[tuple[int, ...], tuple[Pair, ...]], ...]
_BEHIND: TypeAdapter[Behind] = TypeAdapter(Behind)
_PLACES: TypeAdapter[Places] = TypeAdapter(Places)
_SEEN: TypeAdapter[SeenMap] = TypeAdapter(SeenMap)
NOTHING_FOUND: list[Any] = [[], []]
"""The surface's content of a piece of which there is nothing to say; it is not stored."""
# A stored profile keeps whole micrometres: a tenth of the best station's uncertainty.
_PER_MM = 1000
_HIDDEN = np.iinfo(np.int16).min


def digest(content: Any) -> str:
    """A short name for JSON content: equal content, equal name."""
    plain = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.blake2b(plain.encode(), digest_size=16).hexdigest()


def digests_of(part: Part, station: Station, limits: Limits, frames: str) -> Digests:
    """Short names of all that a tray is judged by.

    Parameters
    ----------
    part, station, limits
        Those that judge.
    frames
        The short name of the frames' files.

    Returns
    -------
    Digests
        Digests of content, not of files.
    """
    return Digests(digest(part_content(part)), digest(station_content(station)), digest(limits_content(limits)), frames)


def digests_here(part: Part | None, station: Station | None, limits: Limits | None) -> dict[Kind, str]:
    """Short names of what there is of a part, a station and limits.

    Parameters
    ----------
    part, station, limits
        None where there is none.

    Returns
    -------
    dict[Kind, str]
        Digests by kind.
    """
    told: dict[Kind, str] = {}
    if part is not None:
        told["part"] = digest(part_content(part))
    if station is not None:
        told["station"] = digest(station_content(station))
    if limits is not None:
        told["limits"] = digest(limits_content(limits))
    return told


def pack(content: Any) -> bytes:
    """JSON content, compressed."""
    return zlib.compress(json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode(), 9)


def unpack(body: bytes) -> Any:
    """What `pack` packed."""
    return json.loads(zlib.decompress(body))


def part_content(part: Part) -> dict[str, Any]:
    """A part as JSON content, its outlines to 1e-4 mm."""
    return {
        "part": part.part,
        "name": part.name,
        "outline": np.round(part.outline, 4).tolist(),
        "holes": [np.round(hole, 4).tolist() for hole in part.holes],
        "zones": [[zone.name, *zone.x_mm, zone.datum, zone.bend] for zone in part.zones],
        "surface": None if part.surface is None else [*part.surface.x_mm, part.surface.inset_mm],
        "edge_height_mm": part.edge_height_mm,
        # Only where they are given, so that a part without them keeps its digest.
        **({"edge_height_u_mm": part.edge_height_u_mm} if part.edge_height_u_mm else {}),
        **({"rim": asdict(part.rim)} if part.rim else {}),
        **({"traced_from": part.traced_from} if part.traced_from else {}),
    }


def part_record(content: dict[str, Any]) -> Part:
    """The part that `part_content` wrote down."""
    surface = content["surface"]
    return Part(
        part=content["part"],
        name=content["name"],
        outline=np.asarray(content["outline"], dtype=np.float64),
        holes=tuple(np.asarray(hole, dtype=np.float64) for hole in content["holes"]),
        zones=tuple(Zone(name, (low, high), datum, bend) for name, low, high, datum, bend in content["zones"]),
        surface=None if surface is None else Surface((surface[0], surface[1]), surface[2]),
        edge_height_mm=content["edge_height_mm"],
        edge_height_u_mm=content.get("edge_height_u_mm", 0.0),
        rim=RimRadius(**content["rim"]) if "rim" in content else None,
        traced_from=content.get("traced_from"),
    )


def station_content(station: Station) -> dict[str, Any]:
    """A station as JSON content."""
    lens, camera = station.lens, station.camera
    return {
        "station": station.station,
        "homography": station.homography.tolist(),
        "lens": None if lens is None else [lens.camera_matrix.tolist(), lens.distortion.tolist()],
        "camera": None if camera is None else [camera.height_mm, *camera.foot_mm],
        "outline_mm": station.outline_mm,
        "scale_relative": station.scale_relative,
        "full_scale": station.full_scale,
        # Only where there are any, so that a station without them keeps its digest.
        **({"light": asdict(station.light)} if station.light != LightLimits() else {}),
        **({"calibrated": [station.calibrated_at, station.valid_days]} if station.calibrated_at is not None else {}),
        **({"lights": asdict(station.lights)} if station.lights != Lights() else {}),
        **({"backlight": asdict(station.backlight)} if station.backlight else {}),
        **({"corrections": [asdict(one) for one in station.corrections]} if station.corrections else {}),
    }


def _lights(content: dict[str, Any]) -> Lights:
    """Lists of the stored JSON as the record's tuples."""
    levels = {key: tuple(content[key]) if content[key] else None for key in ("dome_level", "low_level")}
    return Lights(content["dome"], tuple(content["low_deg"]), levels["dome_level"], levels["low_level"])


def station_record(content: dict[str, Any]) -> Station:
    """The station that `station_content` wrote down."""
    lens, camera = content["lens"], content["camera"]
    return Station(
        station=content["station"],
        homography=np.asarray(content["homography"], dtype=np.float64),
        lens=None if lens is None else Lens(np.asarray(lens[0]), np.asarray(lens[1])),
        camera=None if camera is None else Camera(camera[0], (camera[1], camera[2])),
        outline_mm=content["outline_mm"],
        scale_relative=content["scale_relative"],
        full_scale=content["full_scale"],
        light=LightLimits(**content.get("light", {})),
        calibrated_at=content.get("calibrated", [None])[0],
        valid_days=content.get("calibrated", [None, VALID_DAYS])[1],
        lights=_lights(content["lights"]) if "lights" in content else Lights(),
        backlight=HalfAngle(**content["backlight"]) if "backlight" in content else None,
        corrections=_CORRECTIONS.validate_python(content.get("corrections", [])),
    )


def limits_content(limits: Limits) -> Any:
    """Limits as JSON content: what judges, so not what pictures leave out; a rate of marks only where there is one."""
    content = _LIMITS.dump_python(limits, mode="json", exclude={"drawn_from_mm"})
    if limits.count.least_probability == CountRule().least_probability:
        del content["count"]["least_probability"]  # limits of before there was one keep their digest
    return {key: value for key, value in content.items() if key != "rate" or value is not None}


def limits_record(content: Any) -> Limits:
    """The limits that `limits_content` wrote down."""
    return _LIMITS.validate_python(content)


def surface_content(judged: JudgedPiece) -> list[Any]:
    """A piece's findings, which of them count, by which fits they are doubted, and what its reasons rest on.

    What is not there is left out, and so are the first fits, so that what was filed before there were others keeps its
    digest.
    """
    findings = _FINDINGS.dump_python(judged.findings, mode="json", round_trip=True)
    for one in findings:
        if one.get("probability", 0.0) is None:  # filed before it was told
            del one["probability"], one["because"]
    behind = [[list(one.findings), list(one.place_mm)] for one in judged.reasons]
    rests = {
        **({"reasons": behind} if any(map(any, behind)) else {}),
        **({"places": {name: dict(zones) for name, zones in judged.places.items()}} if judged.places else {}),
        **({"seen": asdict(judged.seen)} if judged.seen is not None and judged.seen.blind_cells() else {}),
    }
    fits = [] if judged.detection == FIRST_DETECTION and not rests else [asdict(judged.detection)]
    return [findings, list(judged.counted), *fits, *([rests] if rests else [])]


@dataclass(frozen=True, slots=True)
class FiledSurface:
    """What `surface_content` wrote down; `behind`: of each reason its findings and its place."""

    findings: tuple[Finding, ...]
    counted: tuple[bool, ...]
    detection: Detection
    behind: Behind
    places: Places
    seen: SeenMap | None


def surface_record(content: Any) -> FiledSurface:
    """What `surface_content` wrote down."""
    findings, counted, *more = content
    rests = more[1] if len(more) > 1 else {}
    return FiledSurface(
        findings=_FINDINGS.validate_python(findings),
        counted=_FLAGS.validate_python(counted),
        detection=_DETECTION.validate_python(more[0]) if more else FIRST_DETECTION,
        behind=_BEHIND.validate_python(rests.get("reasons", ())),
        places=_PLACES.validate_python(rests.get("places", {})),
        seen=_SEEN.validate_python(rests["seen"]) if "seen" in rests else None,
    )


def pack_profile(profile: Profile) -> bytes:
    """A profile at even steps, in whole micrometres; what `unpack_profile` reads."""
    step_mm = float(profile.s_mm[1] - profile.s_mm[0]) if len(profile.s_mm) > 1 else STEP_MM
    limit = np.iinfo(np.int16).max
    microns = np.clip(np.nan_to_num(profile.deviation_mm, nan=0.0) * _PER_MM, -limit, limit).round()
    kept = np.where(np.isnan(profile.deviation_mm), _HIDDEN, microns).astype("<i2")
    first_mm = float(profile.s_mm[0]) if len(profile.s_mm) else 0.0
    return zlib.compress(json.dumps([first_mm, step_mm]).encode() + b"\n" + kept.tobytes(), 9)


def unpack_profile(body: bytes) -> Profile:
    """The profile that `pack_profile` wrote down."""
    head, kept = zlib.decompress(body).split(b"\n", 1)
    first_mm, step_mm = json.loads(head)
    microns = np.frombuffer(kept, dtype="<i2")
    places = first_mm + step_mm * np.arange(len(microns), dtype=np.float64)
    return Profile(places, np.where(microns == _HIDDEN, np.nan, microns / _PER_MM))
