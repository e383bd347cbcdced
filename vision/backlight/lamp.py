"""How even a light is, how much of the frame it drives to full scale, and how that compares with calibration day."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.calibrate import Pixels
from vision.errors import Unusable

BLOCK_PX = 16  # unevenness is judged on means of blocks: single pixels only show noise


@dataclass(frozen=True, slots=True)
class LampSettings:
    """What of a frame is the lamp, and what a piece before it."""

    # Above this share of full scale a pixel no longer follows the light.
    full: float = 0.995
    # A block below this share of the light around it is shaded by a piece, not by the lamp; its neighbours may be in
    # part.
    shaded: float = 0.5
    # A light must reach this share of full scale to be judged: below, its unevenness is the sensor's noise.
    least_lit: float = 0.1
    # The darkest and brightest parts, in per cent of the lit blocks: glints and dust lie beyond.
    extremes_pct: tuple[float, float] = (0.5, 99.5)
    # Change of shape between two frames, in per cent of the blocks lit in both: dust on either lies beyond.
    change_pct: tuple[float, float] = (1.0, 99.0)
    # Every so many rows tell a lamp, which is smooth, as well as all rows do, in a quarter of the time.
    every_row: int = 4


LAMP = LampSettings()


@dataclass(frozen=True, slots=True, eq=False)
class LampState:
    """One light as a frame shows it, shares of full scale unless said otherwise.

    `level` median of the lit blocks; `darkest`, `brightest` of lit blocks over that median; `full` share of pixels at
    full scale; `lit` share of blocks that see the light undisturbed; `blocks` (rows, columns), nan where shaded.
    """

    level: float
    darkest: float
    brightest: float
    full: float
    lit: float
    blocks: NDArray[np.float64]


def lamp_state(pixels: Pixels, full_scale: float, name: str) -> LampState:
    """Measure an empty tray's light, or what is seen of it between pieces.

    Parameters
    ----------
    pixels
        The frame, (rows, columns).
    full_scale
        The count that the sensor can't exceed.
    name
        What the frame is called in an error.

    Returns
    -------
    LampState
        Levels as shares of full scale, and the share of the frame that is lit.

    Raises
    ------
    Unusable
        Too small a frame, or hardly any light in it.
    """
    rows, columns = (side // BLOCK_PX for side in pixels.shape)
    if min(rows, columns) < 4:
        raise Unusable(
            name, "", f"a frame of {4 * BLOCK_PX} px or more a side", f"{pixels.shape[1]} x {pixels.shape[0]} px"
        )
    read = pixels[: rows * BLOCK_PX : LAMP.every_row, : columns * BLOCK_PX].astype(np.float32)
    blocks = np.asarray(cv2.resize(read, (columns, rows), interpolation=cv2.INTER_AREA), dtype=np.float64) / full_scale
    reach = 2 * (min(rows, columns) // 4) + 1
    around = cv2.dilate(blocks, np.ones((reach, reach), np.uint8))
    lit = cv2.erode((blocks > LAMP.shaded * around).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    if not lit.any():
        raise Unusable(name, "", "a backlight that is seen between the pieces", "none")
    level = float(np.median(blocks[lit]))
    if level < LAMP.least_lit:
        raise Unusable(name, "", f"a light that reaches {LAMP.least_lit:.0%} of full scale", f"{level:.1%}")
    shares = np.where(lit, blocks, np.nan)
    low, high = np.nanpercentile(shares, LAMP.extremes_pct)
    return LampState(
        level,
        float(low) / level,
        float(high) / level,
        float(np.mean(read >= LAMP.full * full_scale)),
        float(lit.mean()),
        shares,
    )


def check_empty(state: LampState, name: str) -> None:
    """Refuse a frame for measuring the lamp that shows something on the tray: a dark place with light all around.

    Parameters
    ----------
    state
        The lamp as the frame shows it.
    name
        What the frame is called in the error.

    Raises
    ------
    Unusable
        Something lies on the tray.
    """
    dark = np.isnan(state.blocks).astype(np.uint8)
    places, labels = cv2.connectedComponents(dark)
    # A lamp that does not fill the frame leaves its border dark.
    border = np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]])
    inside = places - 1 - len(set(border.tolist()) - {0})
    if inside > 0:
        expected = "the backlit tray with nothing on it expected; clear and clean it, and take the frame again"
        raise Unusable(name, "", expected, f"{inside} dark places with light around them")


def lamp_drift(now: LampState, then: LampState) -> tuple[float, float]:
    """Relative change of level since a reference frame, and the largest change of shape beyond it (both as shares).

    Parameters
    ----------
    now
        The lamp as a frame shows it.
    then
        The same lamp in a reference frame of the same size.

    Returns
    -------
    tuple[float, float]
        Both as shares: the change of the level, and the largest change of one part of the light against it.

    Raises
    ------
    Unusable
        The frames differ in size, or share no lit block.
    """
    if now.blocks.shape != then.blocks.shape:
        raise Unusable("light", "", "a reference frame of the same size")
    ratio = now.blocks / then.blocks
    known = ratio[np.isfinite(ratio)]
    if known.size == 0:
        raise Unusable("light", "", "a reference frame that shows the same part of the tray lit")
    middle = float(np.median(known))
    low, high = np.percentile(known / middle, LAMP.change_pct)
    return middle - 1.0, float(max(1.0 - low, high - 1.0))
