"""Path-traced trays of polished bowls: a check on the face's measures by a renderer that is not our own.

    pip install mitsuba
    python tests/truth/path_traced.py FOLDER --seed 1 [--families tea round] [--samples 256] [--variant llvm_ad_rgb]
    python tests/truth/path_traced.py FOLDER --score

The first renders two folders for each family, FAMILY-1-plain and FAMILY-1-faint (the same with the contrast of each
mark faded to 2 to 50 %). Each holds part.toml, station.toml, outline.dxf and a tray T-01 with shot.json, truth.json and
frames, in the layout of the shared trays; what is there already is kept. The second scores all folders found by the
rules of `polished_score`. Mitsuba is no dependency of the project and scoring does without; its llvm variants need a
libLLVM of the system (`DRJIT_LIBLLVM_PATH` says which).

The model: Mitsuba 3 (Jakob et al. 2022, mitsuba-renderer.org) traces paths with interreflections up to depth 5, bowl
against bowl and tray. The metal is a GGX `roughconductor` with a share of a wide lobe; normal maps carry buffing lines,
hairlines and orange peel. Grooves have random slopes across their course and alpha 0.12, pits have walls of slope 0.6
and alpha 0.25. Dust is diffuse discs, drops and smears are more of the wide lobe. The samples go in eight passes, of
which the highest is dropped at each pixel, against fireflies. The sensor is that of `synthetic_images.sensor`. Frames
are black outside the bowls but for the backlit one, whose blurred silhouettes are drawn. The truth's snr is not known:
it reads 0.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from synthetic_images.sensor import Pixels, Sensor, exposed
from synthetic_images.spoons import Array, outline
from synthetic_images.trays.write import FrameImage, ShotName, write_part, write_shot
from tests.truth.path_traced_light import front_lights
from tests.truth.path_traced_pieces import (
    TRACED_FAMILIES,
    TracedFamily,
    TracedPiece,
    bowl_box,
    faded,
    random_pieces,
    truth,
)

# The backlight's level beside a spoon, and the share of it that a spoon takes away.
_BACK_LEVEL, _BACK_TAKEN = 0.85, 0.82
# Rim about a spoon's outline beyond which the front-lit frames are black.
_RIM_PX = 5
_STATION = """format = 1
station = "ST-8"

[scale]
mm_per_px = {mm_per_px}

[uncertainty]
outline_mm = 0.002
scale_relative = 0.0001
"""


def back_frame(family: TracedFamily, pieces: Sequence[TracedPiece]) -> Pixels:
    """The backlit frame: blurred silhouettes."""
    width, height = family.size_px
    finer = 4
    cover = np.zeros((height * finer, width * finer), np.uint8)
    for piece in pieces:
        # Pixel centres are whole numbers, in the finer picture too.
        corners = (piece.to_px(family, outline(family.pattern).points_mm) + 0.5) * finer - 0.5
        cv2.fillPoly(cover, [np.rint(corners * 2**8).astype(np.int32)], 255, cv2.LINE_AA, 8)
    share = cv2.resize(cover, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    light = cv2.GaussianBlur(_BACK_LEVEL - _BACK_TAKEN * share, (0, 0), family.psf_px)
    return exposed(light, Sensor(), np.random.default_rng(3))


def spoon_mask(family: TracedFamily, pieces: Sequence[TracedPiece]) -> np.ndarray:
    """1 on the spoons and a rim about them, 0 elsewhere."""
    width, height = family.size_px
    mask = np.zeros((height, width), np.uint8)
    for piece in pieces:
        corners = piece.to_px(family, outline(family.pattern, 0.1).points_mm)
        cv2.fillPoly(mask, [np.rint(corners).astype(np.int32)], 1)
    return cv2.dilate(mask, np.ones((2 * _RIM_PX + 1, 2 * _RIM_PX + 1), np.uint8))


def gains(
    family: TracedFamily, pieces: Sequence[TracedPiece], lights: dict[float | None, Array], seed: int
) -> dict[float | None, float]:
    """Exposures, by azimuth: the dome nears full scale on the bowls, low lights fill it at the family's quantiles."""
    boxes = [bowl_box(family, piece) for piece in pieces]
    out = {}
    for turn, (azimuth, light) in enumerate(lights.items(), start=seed - 1):
        values = np.concatenate([light[top:bottom, left:right].ravel() for left, top, right, bottom in boxes])
        quantile = family.exposed_quantiles[turn % len(family.exposed_quantiles)]
        out[azimuth] = 0.86 / np.quantile(values, 0.6) if azimuth is None else 1.0 / np.quantile(values, quantile)
    return out


def render_family(root: Path, family: TracedFamily, seed: int, samples: int) -> list[Path]:
    """Render a family's tray, plain and faint, where they are not there yet: the two folders."""
    folders = [root / f"{family.name}-{seed}-{kind}" for kind in ("plain", "faint")]
    shots = [folder / f"T-{seed:02d}" for folder in folders]
    if all((shot / "shot.json").is_file() for shot in shots):
        return folders
    rng = np.random.default_rng([seed, sum(map(ord, family.name))])
    plain = random_pieces(family, rng)
    draw = int(rng.integers(2**31))
    fade_rng = np.random.default_rng(draw + 1)
    lots = plain, [faded(piece, fade_rng) for piece in plain]
    mask = spoon_mask(family, plain)
    gain: dict[float | None, float] = {}
    for folder, shot, pieces in zip(folders, shots, lots, strict=True):
        folder.mkdir(parents=True, exist_ok=True)
        write_part(folder, family.pattern)
        (folder / "station.toml").write_text(_STATION.format(mm_per_px=family.mm_per_px), encoding="utf-8")
        lights = front_lights(family, pieces, samples, draw)
        # A camera keeps its exposure: the faint tray has the plain one's.
        gain = gain or gains(family, pieces, lights, seed)
        noise = np.random.default_rng(draw + 3)
        frames = [FrameImage("back.png", "back", back_frame(family, pieces))]
        for azimuth, light in lights.items():
            pixels = mask * exposed((light * gain[azimuth]).astype(np.float32), Sensor(), noise)
            if azimuth is None:
                frames.append(FrameImage("dome.png", "dome", pixels))
            else:
                frames.append(FrameImage(f"low-{round(azimuth):03d}.png", "low", pixels, float(azimuth)))
        name = ShotName(shot.name, "L-1", family.pattern.part, "ST-8")
        write_shot(shot, name, frames, [truth(family, piece) for piece in pieces])
    return folders


def print_scores(root: Path) -> None:
    """Score all folders of trays and print the figures of all plain and of all faint ones."""
    from tests.truth.polished_score import print_figures, score_trays

    cv2.setNumThreads(1)
    for kind in ("plain", "faint"):
        swept = kind == "faint"
        scores = [piece for folder in sorted(root.glob(f"*-{kind}")) for piece in score_trays(folder, swept)]
        if not scores:
            sys.exit(f"{root} has no tray in a folder *-{kind}; render some first")
        print_figures(f"{kind}, {len(scores)} pieces", scores, swept)


def main() -> None:
    """Render the families asked for, or score what is there."""
    ask = argparse.ArgumentParser()
    ask.add_argument("folder", type=Path)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--families", nargs="+", choices=TRACED_FAMILIES, default=list(TRACED_FAMILIES))
    ask.add_argument("--samples", type=int, default=256)
    ask.add_argument("--variant", default="llvm_ad_rgb")
    ask.add_argument("--score", action="store_true")
    asked = ask.parse_args()
    if asked.score:
        print_scores(asked.folder)
        return
    import mitsuba as mi

    mi.set_variant(asked.variant)
    for name in asked.families:
        for folder in render_family(asked.folder, TRACED_FAMILIES[name], asked.seed, asked.samples):
            print(folder)


if __name__ == "__main__":
    main()
