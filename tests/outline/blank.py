"""A small blank under a backlight, drawn by exact area: frames of a megapixel where whole spoons would take six."""

from collections.abc import Callable, Sequence

import numpy as np

from synthetic_images.outlines.optics import Backlight, Silhouette, backlit, light_field, shadow
from synthetic_images.sensor import Sensor, exposed
from vision.records.inputs import Array, Limit, Limits, Part, Picture, Station, TrayPictures, Zone

SIZE_PX = (1000, 700)
MM_PER_PX = 0.05
_TURN = np.linspace(0.0, 2.0 * np.pi, 1440, endpoint=False)
# Egg-shaped, 40 mm long; `leaning` bulges to one side, so that its mirror image is another.
EGG = np.column_stack((20.0 - 20.0 * np.cos(_TURN), -(9.0 + 1.5 * np.cos(_TURN)) * np.sin(_TURN)))
LEANING = EGG + np.column_stack((np.zeros(len(EGG)), 1.2 * np.sin(np.pi * EGG[:, 0] / 25.0)))
STATION = Station("ST-1", np.diag([MM_PER_PX, -MM_PER_PX, 1.0]), None, None, 0.003, 0.0002)
ROWS = (Limit("outline_out_mm", "major", max=0.15), Limit("outline_in_mm", "major", max=0.15))
LIMITS = Limits("TS-135", 1, "released", 0.95, ROWS)


def part(outline: Array = EGG) -> Part:
    return Part("TS-135", "Blank", outline, (), (Zone("body", (0.0, 40.0), datum=True),), None)


def to_px(mm: Array) -> Array:
    """Drawing to frame: the blank lies in the middle, upright."""
    return (mm - (20.0, 0.0)) / MM_PER_PX * (1.0, -1.0) + (SIZE_PX[0] / 2, SIZE_PX[1] / 2)


def pictures(
    outline: Array = EGG,
    beside: Sequence[Silhouette] = (),
    holes: Sequence[Array] = (),
    seed: int = 1,
    power: float = 1.0,
    encoded: Callable[[Array], Array] | None = None,
    bits: int = 8,
) -> TrayPictures:
    """A backlit frame; `beside` things in px, `holes` in drawing mm, counts raised to a `power`.

    `encoded`: what the camera makes of shares of its 12-bit counts, before it rounds them to so many `bits`.
    """
    rng = np.random.default_rng(seed)
    taken = shadow([Silhouette((to_px(outline), *(to_px(hole)[::-1] for hole in holes))), *beside], SIZE_PX, 0.7)
    light = Backlight()
    shown = backlit(light_field(light, SIZE_PX), taken.clip(0.0, 1.0), light.dark)
    if encoded is not None:
        share = encoded(exposed(shown, Sensor(top=4095), rng) / 4095.0)
        top = float(2**bits - 1)
        return TrayPictures(Picture("back", None, np.rint(top * share).astype(f"uint{bits}"), top, "back.png"))
    frame = exposed(shown, Sensor(), rng)
    counts = np.rint(255 * (frame / 255.0) ** power).astype(np.uint8)
    return TrayPictures(Picture("back", None, counts, 255.0, "back.png"))
