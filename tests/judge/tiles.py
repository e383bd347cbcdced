"""Real photographs of ground tiles under one light, beside the same by a difference of Gaussians.

    python -m tests.judge.tiles ../shared/real/tiles [--judge JUDGE.toml] [--jobs 2]

A tile is judged as a part of a rectangle, its backlit frame a dark rectangle, the photograph the dome's frame; there is
no low light. No scale is known: 0.05 mm a pixel is assumed. Found: a finding's centre or half its length on the mask or
within 2 px of it; at 0.1 findings a picture without a defect.
"""

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vision.face.raster import FaceInputs
from vision.face.score import score_face
from vision.formats.judge_file import read_judge, shipped_judge
from vision.records import LIKELY, Mark, MarkJudge, Part, Picture, Scratch, Stain, Surface, TrayPictures, Zone

_MM_PER_PX, _MARGIN_PX, _INSET_MM = 0.05, 40, 0.2
_LIT, _DARK, _REACH_PX = 220, 6, 2
_FALSE_ASKED = 0.1
# Which model finds which kind.
_MODELS = {"hole": "spots", "crack": "lines"}
# The difference of Gaussians: each of these sigmas (px), the wider one 1.6 times the narrower (Lowe 2004,
# 10.1023/B:VISI.0000029664.99615.94), over the picture's own spread.
_SIGMAS_PX = (1.5, 2.5, 4.0, 6.0)


@dataclass(frozen=True, slots=True)
class TileScore:
    """Of one picture: the chance of the best finding of each model on its mask (0: none), and of those elsewhere."""

    kind: str
    on_mask: dict[str, float]
    elsewhere: dict[str, list[float]]


def tile_inputs(photo: NDArray[np.uint8]) -> FaceInputs:
    """A photograph as the view of a rectangular part."""
    rows, columns = photo.shape
    width, height = columns * _MM_PER_PX, rows * _MM_PER_PX
    back = np.full((rows + 2 * _MARGIN_PX, columns + 2 * _MARGIN_PX), _LIT, np.uint8)
    dome = np.full_like(back, _DARK)
    inside = np.s_[_MARGIN_PX : _MARGIN_PX + rows, _MARGIN_PX : _MARGIN_PX + columns]
    back[inside], dome[inside] = _DARK, photo
    corner = _MARGIN_PX - 0.5
    outline = np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)])
    zone = Zone("tile", (0.0, width), "axis", None)
    part = Part("tile", "ground tile", _dense(outline), (), (zone,), Surface((0.0, width), _INSET_MM))
    pictures = TrayPictures(Picture("back", None, back, 255.0, "back"), Picture("dome", None, dome, 255.0, "dome"), ())
    return FaceInputs(
        pictures,
        part,
        lambda mm: np.asarray(mm) * (1, -1) / _MM_PER_PX + (corner, corner + rows),
        lambda px: (np.asarray(px) - (corner, corner + rows)) * (1, -1) * _MM_PER_PX,
        _MM_PER_PX,
    )


def _dense(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    sides = [np.linspace(a, b, 50, endpoint=False) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    return np.concatenate(sides)


def tile_score(judge: MarkJudge, path: Path) -> TileScore:
    """Judge one picture."""
    photo = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    mask = _mask(path, photo)
    score = TileScore(path.parent.name, {"lines": 0.0, "spots": 0.0}, {"lines": [], "spots": []})
    for one in score_face(tile_inputs(photo), judge).findings:
        if isinstance(one, Mark | Stain):  # larger than what is asked here
            continue
        model, chance = "lines" if isinstance(one, Scratch) else "spots", one.probability or 0.0
        at = np.rint(_points_px(one) - _MARGIN_PX).astype(int)
        at = at[(at >= 0).all(axis=1) & (at < photo.shape[::-1]).all(axis=1)]
        if len(at) and mask[at[:, 1], at[:, 0]].mean() >= 0.5:
            score.on_mask[model] = max(score.on_mask[model], chance)
        else:
            score.elsewhere[model].append(chance)
    return score


def _points_px(one) -> NDArray[np.float64]:
    return np.array(one.points_px if isinstance(one, Scratch) else [one.center_px])


def _mask(path: Path, photo: NDArray[np.uint8]) -> NDArray[np.bool_]:
    if path.parent.name == "free":
        return np.zeros(photo.shape, bool)
    mask = cv2.imread(str(path.with_suffix(".png")), cv2.IMREAD_GRAYSCALE) > 127
    return np.asarray(ndimage.binary_dilation(mask, iterations=_REACH_PX))


def gaussians_score(path: Path) -> TileScore:
    """The same by differences of Gaussians: dark extrema over the picture's robust spread at each sigma."""
    photo = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    mask = _mask(path, photo)
    flat = np.log(photo.astype(np.float32) + 4)
    best, elsewhere = 0.0, []
    edge = int(_INSET_MM / _MM_PER_PX)
    for sigma in _SIGMAS_PX:
        dark = cv2.GaussianBlur(flat, (0, 0), 1.6 * sigma) - cv2.GaussianBlur(flat, (0, 0), sigma)
        dark /= 1.4826 * np.median(np.abs(dark - np.median(dark)))
        top = dark == ndimage.maximum_filter(dark, size=int(4 * sigma) | 1)
        top[:edge] = top[-edge:] = top[:, :edge] = top[:, -edge:] = False
        best = max(best, float(dark[top & mask].max(initial=0.0)))
        elsewhere += dark[top & ~mask & (dark > 2)].tolist()
    return TileScore(
        path.parent.name, dict.fromkeys(_MODELS.values(), best), dict.fromkeys(_MODELS.values(), elsewhere)
    )


def print_shares(name: str, scores: Sequence[TileScore]) -> None:
    """Of each kind the share found where `_FALSE_ASKED` findings of its model a free picture are told."""
    free = [one for one in scores if one.kind == "free"]
    for kind, model in _MODELS.items():
        told = np.sort([chance for one in free for chance in one.elsewhere[model]])[::-1]
        allowed = int(_FALSE_ASKED * len(free))
        least = float(told[allowed]) if len(told) > allowed else 0.0
        on = np.array([one.on_mask[model] for one in scores if one.kind == kind])
        print(f"{name}, {kind}: {np.mean(on > least):.2f} of {len(on)} found", end=" ")
        print(f"at {_FALSE_ASKED} false a free picture (over {least:.2f}); over {LIKELY}: {np.mean(on >= LIKELY):.2f}")


def main() -> None:
    """Score all pictures of a folder both ways."""
    ask = argparse.ArgumentParser()
    ask.add_argument("folder", type=Path)
    ask.add_argument("--judge", type=Path)
    ask.add_argument("--jobs", type=int, default=1)
    asked = ask.parse_args()
    judge = shipped_judge() if asked.judge is None else read_judge(asked.judge)
    paths = sorted(asked.folder.glob("*/*.jpg"))
    with ProcessPoolExecutor(asked.jobs) as pool:
        print_shares("judge", list(pool.map(partial(tile_score, judge), paths)))
    print_shares("differences of Gaussians", [gaussians_score(path) for path in paths])


if __name__ == "__main__":
    main()
