"""Path-traced trays of bright rims: a check on the outline by a renderer that knows no formula of a band.

    pip install mitsuba
    python tests/truth/path_traced_rims.py FOLDER --angles 2 10 20 40 60 75 [--seed 1] [--samples 16] [--variant ...]
    python tests/truth/path_traced_rims.py FOLDER --score

The first renders a folder for each half angle, rimANGLE, laid out as the shared trays (part.toml, station.toml, a tray
with shot.json, truth.json and its backlit frame); what is there already is kept. The second tells, for each folder
rimANGLE found there, mean and rms errors of out, in, length and width, the share within 2 u, and openings and strays;
it takes any trays so laid out, such as those beside the project (`../shared/trays/outline-rims`). Mitsuba is no
dependency of the project and scoring does without; its llvm variants need a libLLVM that suits it (3.6 goes with 15).

The model: Mitsuba 3 (Jakob et al. 2022, mitsuba-renderer.org) traces paths of up to four reflections to a telecentric
camera. The rim is a mesh: the upper quarter of a round whose radius changes along the true outline, in 70 rows, closed
by a flat cap; its metal a smooth `conductor` of n = 2.8 + 3.3i. The light is a disc far below that fills the half
angle. Everything after the light on the sensor (blur, uneven light, noise) is `synthetic_images`'.
"""

import argparse
import re
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from synthetic_images.outlines.optics import backlit, blurred, light_field
from synthetic_images.outlines.rims import STEEL, along
from synthetic_images.outlines.scene import Piece, Scene, piece_rings_mm
from synthetic_images.outlines.truth import tray_truth
from synthetic_images.sensor import exposed
from synthetic_images.spoons import Array, Outline, outline
from synthetic_images.trays.write import FrameImage, ShotName, write_shot
from tests.truth.outline_score import Score
from tests.truth.rim_score import PATTERN, RimTray, cells, files, score_shared

# Rows of the mesh from the equator up; denser there, where the light grazes.
_ROWS, _DEPTH, _LAMP_AWAY_MM = 70, 5, 5000.0
# Vertices every so many of the outline's own (0.025 mm): chords of 0.05 mm leave the curve by 0.00003 mm at most.
_EVERY = 2
# Pixels are traced this much finer each way, and blurred there.
_FINER = 2
# Rows of pixels traced at once, and samples a pass: what the memory of a small machine holds.
_STRIP, _PASS = 256, 4


def rim_mesh(piece: Piece, nominal: Outline) -> tuple[Array, Array, np.ndarray]:
    """Vertices (n, 3) in tray mm, their normals, and triangles (m, 3) of a piece's upper side."""
    ring = piece_rings_mm(piece, nominal)[0]
    ahead = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    outward = (np.column_stack((ahead[:, 1], -ahead[:, 0])) / np.hypot(*ahead.T)[:, None])[::_EVERY]
    ring, radius = ring[::_EVERY], along(piece.rim_radius_mm, nominal)[::_EVERY, None]
    count, points, upright = len(ring), [], []
    for rise in np.pi / 2 * np.linspace(0.0, 1.0, _ROWS) ** 1.5:
        points.append(np.hstack((ring - radius * (1 - np.cos(rise)) * outward, radius * np.sin(rise))))
        upright.append(np.hstack((np.cos(rise) * outward, np.full((count, 1), np.sin(rise)))))
    index = np.arange(_ROWS * count).reshape(_ROWS, count)
    a, b = index[:-1], np.roll(index[:-1], -1, axis=1)
    d, c = index[1:], np.roll(index[1:], -1, axis=1)
    sides = np.concatenate((np.stack((a, b, c), -1).reshape(-1, 3), np.stack((a, c, d), -1).reshape(-1, 3)))
    # The outline runs along one long side and back along the other: strips across close it.
    near, far = index[-1][: count // 2], index[-1][::-1][: count // 2]
    first, second = np.stack((near[:-1], near[1:], far[1:]), -1), np.stack((near[:-1], far[1:], far[:-1]), -1)
    return np.concatenate(points), np.concatenate(upright), np.concatenate((sides, first, second))


def _mesh(piece: Piece, nominal: Outline) -> Any:
    import mitsuba as mi

    points, upright, triangles = rim_mesh(piece, nominal)
    metal = {"type": "conductor", "eta": _grey(STEEL.real), "k": _grey(STEEL.imag)}
    properties = mi.Properties()
    # Seen from either side: whatever the light meets of it keeps it off.
    properties["mesh_bsdf"] = mi.load_dict({"type": "twosided", "metal": metal})
    mesh = mi.Mesh("piece", len(points), len(triangles), has_vertex_normals=True, props=properties)
    fields = mi.traverse(mesh)
    fields["vertex_positions"] = points.astype(np.float32).ravel()
    fields["vertex_normals"] = upright.astype(np.float32).ravel()
    fields["faces"] = triangles.astype(np.uint32).ravel()
    fields.update()
    return mesh


def _grey(value: float) -> dict[str, Any]:
    return {"type": "spectrum", "value": value}


def traced(scene: Scene, samples: int, seed: int) -> Array:
    """Share of the light (height, width) that reaches the sensor, blur included."""
    import mitsuba as mi

    nominal = outline(scene.part)
    far = mi.ScalarTransform4f().translate([0, 0, -_LAMP_AWAY_MM])
    half_mm = _LAMP_AWAY_MM * float(np.tan(np.deg2rad(scene.backlight.half_angle_deg)))
    lamp = {"type": "disk", "to_world": far @ mi.ScalarTransform4f().scale([half_mm, half_mm, 1])}
    lamp |= {"light": {"type": "area", "radiance": _grey(1.0)}}
    content = {"type": "scene", "integrator": {"type": "path", "max_depth": _DEPTH}, "lamp": lamp}
    world = mi.load_dict(content | {f"piece_{k}": _mesh(piece, nominal) for k, piece in enumerate(scene.pieces)})
    width, height = (_FINER * side for side in scene.view.size_px)
    fine_mm = scene.view.mm_per_px / _FINER
    # The frame's corner in tray mm, from where its axes run right and down.
    left, top = -0.5 * scene.view.mm_per_px, 0.5 * scene.view.mm_per_px
    middle = left + 0.5 * width * fine_mm, top - 0.5 * height * fine_mm
    place = mi.ScalarTransform4f().look_at([*middle, 50], [*middle, 0], [0, 1, 0])
    # It looks down with y up: its own x then runs left, as its scale of -1 mends.
    place = place @ mi.ScalarTransform4f().scale([0.5 * width * fine_mm, 0.5 * width * fine_mm, 1])
    out = np.zeros((height, width), np.float32)
    for start in range(0, height, _STRIP):
        rows = min(_STRIP, height - start)
        film = {"type": "hdrfilm", "width": width, "height": height, "pixel_format": "luminance"}
        film |= {"crop_offset_x": 0, "crop_offset_y": start, "crop_width": width, "crop_height": rows}
        film |= {"rfilter": {"type": "box"}}
        sensor = {"type": "orthographic", "to_world": place, "near_clip": 1.0, "far_clip": 1e5, "film": film}
        camera = mi.load_dict(sensor | {"sampler": {"type": "stratified", "sample_count": _PASS}})
        for number in range(samples // _PASS):
            seen = mi.render(world, sensor=camera, spp=_PASS, seed=seed + 1000 * start + number)
            out[start : start + rows] += np.array(seen)[..., 0] / (samples // _PASS)
    return np.asarray(cv2.resize(blurred(out, scene.psf_px * _FINER), scene.view.size_px, interpolation=cv2.INTER_AREA))


def render_folder(folder: Path, half_angle_deg: float, seed: int, samples: int) -> None:
    """A folder with one tray, where it is not there yet."""
    shot = folder / f"{folder.name}-{seed:02d}"
    if (shot / "shot.json").is_file():
        return
    rng = np.random.default_rng([seed, round(10 * half_angle_deg)])
    scene = RimTray(half_angle_deg).scene(rng, 1)
    seen = traced(scene, samples, seed)
    light = backlit(light_field(scene.backlight, scene.view.size_px), (1.0 - seen).clip(0.0, 1.0), scene.backlight.dark)
    folder.mkdir(parents=True, exist_ok=True)
    files(scene, folder)
    frames = [FrameImage("back.png", "back", exposed(light, scene.sensor, rng))]
    write_shot(shot, ShotName(shot.name, "L-1", PATTERN.part, "ST-1"), frames, tray_truth(scene, shot.name))


def print_scores(root: Path) -> None:
    """Bias and more of every folder rimANGLE."""
    told = {folder: re.fullmatch(r"rim([\d.]+)", folder.name) for folder in root.iterdir() if folder.is_dir()}
    found = sorted((float(match[1]), folder) for folder, match in told.items() if match)
    if not found:
        sys.exit(f"{root} has no folder rimANGLE; render some first")
    print("mean, rms error in um; share within 2 u, rms of error over u")
    print("| half angle | pieces | out | in | length | width | openings, strays |\n|---|---|---|---|---|---|---|")
    for angle, folder in found:
        score: Score = score_shared(folder, angle)
        print(f"| {angle:g}° | {score.found} | {' | '.join(cells(score))} | {score.loose} |", flush=True)


def main() -> None:
    """Render the angles asked for, or score what is there."""
    ask = argparse.ArgumentParser()
    ask.add_argument("folder", type=Path)
    ask.add_argument("--angles", type=float, nargs="+", default=[2, 10, 20, 40, 60, 75])
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--samples", type=int, default=16)
    ask.add_argument("--variant", default="llvm_ad_mono")
    ask.add_argument("--score", action="store_true")
    asked = ask.parse_args()
    if asked.score:
        print_scores(asked.folder)
        return
    import mitsuba as mi

    mi.set_variant(asked.variant)
    for angle in asked.angles:
        render_folder(asked.folder / f"rim{angle:g}", angle, asked.seed, asked.samples)
        print(asked.folder / f"rim{angle:g}", flush=True)


if __name__ == "__main__":
    main()
