"""Candidates on rendered faces with what is true of each: what a judge of marks is fitted on and tried on.

Own ones are faces of `synthetic_images.faces.varied` by their numbers; of some, frames are left out, as a station with
fewer lights would have it. Families of trays (a folder with part.toml, station.toml and trays with truth.json) are read
at their true poses.
"""

from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from synthetic_images.faces.varied import varied_shot
from tests.truth.polished_score import PIT_REACH_MM, covered, truth_of, view_of
from tests.truth.varied_score import part_of, pictures_of
from vision.face.described import described_face
from vision.face.raster import FaceInputs, scored_shape
from vision.formats.frames import read_frames
from vision.formats.part import read_part
from vision.formats.shot import read_shot
from vision.formats.station import read_station
from vision.records import Pit, Scratch, TrayPictures

# A candidate's truth: a mark, none, or beside the question (a mark outside the scored area, or too faint to be seen).
MARK, NONE, BESIDE = 1, 0, -1
# A mark fainter than this, by its truth's snr, is beside the question in a fit (0: not known).
_SEEN_SNR = 5.0
# By so much the scored area's outline may change where it is kept simpler.
_SIMPLER_MM = 0.002
# Of faces with three low lights or more: how often the low lights, or all but some, or the dome are left out.
_NO_LOW, _FEWER_LOW, _NO_DOME = 0.1, 0.12, 0.04


@dataclass(frozen=True, slots=True, eq=False)
class Example:
    """One face: its candidates with features, what is true of each, and the piece's truth.

    `scored`: the scored area of the drawing. `line_truth`, `spot_truth`: `MARK`, `NONE` or `BESIDE`; `dust` (spots,):
    whether dust or lint lies there.
    """

    name: str
    scored: Polygon
    piece: dict
    scratches: tuple[Scratch, ...]
    line_features: NDArray[np.float64]
    line_truth: NDArray[np.int8]
    pits: tuple[Pit, ...]
    spot_features: NDArray[np.float64]
    spot_truth: NDArray[np.int8]
    dust: NDArray[np.bool_]


def example(name: str, inputs: FaceInputs, piece: dict) -> Example | None:
    """Find and describe the candidates of one face and say what they are."""
    surface = inputs.part.surface
    assert surface is not None
    shape = scored_shape(inputs.part, surface)
    assert isinstance(shape, Polygon)
    found = described_face(inputs)
    if found is None:
        return None
    return Example(
        name,
        shape.simplify(_SIMPLER_MM),
        _plain(piece),
        found.scratches,
        found.line_features.astype(np.float32),
        np.array([_line_truth(one, piece["scratches"]) for one in found.scratches], np.int8),
        found.pits,
        found.spot_features.astype(np.float32),
        np.array([_spot_truth(one, piece["pits"]) for one in found.pits], np.int8),
        np.array([_is_dust(one, piece["disturbers"]) for one in found.pits], bool),
    )


def _plain(piece: dict) -> dict:
    """A piece's truth less what the drawing says better."""
    return {
        **piece,
        "scratches": [
            {
                **{key: value for key, value in one.items() if key != "points_px"},
                "points_mm": np.array(one["points_mm"], np.float32),
            }
            for one in piece["scratches"]
        ],
    }


def _line_truth(line: Scratch, scratches: Iterable[dict]) -> int:
    points = np.array(line.points_mm)
    return _truth(one for one in scratches if covered(points, [np.array(one["points_mm"])]) >= 0.5)


def _spot_truth(spot: Pit, pits: Iterable[dict]) -> int:
    at = np.array(spot.center_mm)
    return _truth(
        one for one in pits if np.hypot(*(at - one["center_mm"])) <= max(PIT_REACH_MM, one["diameter_mm"] / 2)
    )


def _truth(marks: Iterable[dict]) -> int:
    """What a candidate is that covers these true marks."""
    seen = [one["scored"] and not 0.0 < one["snr"] < _SEEN_SNR for one in marks]
    return NONE if not seen else MARK if any(seen) else BESIDE


def _is_dust(spot: Pit, disturbers: Iterable[dict]) -> bool:
    return any(
        np.hypot(*(np.array(spot.center_mm) - one["at_mm"])) <= PIT_REACH_MM
        for one in disturbers
        if one["kind"] in ("dust", "lint")
    )


def own_example(number: int, faint_share: float) -> Example | None:
    """One varied face, some of them with frames left out."""
    rng = np.random.default_rng([78, number])
    shot = varied_shot(np.random.default_rng([77, number]), faint=bool(rng.random() < faint_share))
    part = part_of(shot)
    inputs = view_of(_left(pictures_of(shot), rng), part, dict(shot.truth), shot.scene.view.mm_per_px)
    return example(f"own-{number}", inputs, dict(shot.truth))


def _left(pictures: TrayPictures, rng: np.random.Generator) -> TrayPictures:
    """The frames of a shot, now and then fewer."""
    draw, low = float(rng.random()), pictures.low
    if pictures.dome is None:
        return pictures
    if draw < _NO_LOW:
        return TrayPictures(pictures.back, pictures.dome, ())
    if draw < _NO_LOW + _FEWER_LOW:
        keep = sorted(rng.permutation(len(low))[: int(rng.integers(1, len(low)))].tolist())
        return TrayPictures(pictures.back, pictures.dome, tuple(low[k] for k in keep))
    return TrayPictures(pictures.back, None, low) if draw > 1.0 - _NO_DOME else pictures


def tray_examples(tray: Path) -> list[Example]:
    """Every piece of a tray at its true pose."""
    part, station = read_part(tray.parent / "part.toml"), read_station(tray.parent / "station.toml")
    pictures = read_frames(read_shot(tray), station)
    scale = float(station.homography[0, 0])
    found = [
        example(f"{tray.parent.name}/{tray.name}/{number}", view_of(pictures, part, piece, scale), piece)
        for number, piece in enumerate(truth_of(tray))
    ]
    return [one for one in found if one is not None]


def _one_thread() -> None:
    cv2.setNumThreads(1)


def gather(numbers: Sequence[int], trays: Sequence[Path], faint_share: float, jobs: int) -> list[Example]:
    """Examples of own faces by number and of trays, in their order."""
    with ProcessPoolExecutor(jobs, initializer=_one_thread) as pool:
        own = pool.map(own_example, numbers, [faint_share] * len(numbers))
        traced = pool.map(tray_examples, trays)
        return [one for one in own if one is not None] + [one for some in traced for one in some]
