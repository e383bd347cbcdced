"""What is known of a rim's bright band beforehand, and what was told of it."""

from dataclasses import dataclass

from vision.records import Array


@dataclass(frozen=True, slots=True)
class BandPrior:
    """Width of the band in px as known beforehand: its mean, what of it is in doubt all along, and from place to place.

    `scale` (b,): how many times wider it is at each block than where the camera looks straight down; `alike` (b, b):
    parts by which blocks' own widths go together.
    """

    width_px: float
    shared_px: float
    own_px: float
    scale: Array
    alike: Array


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """What the blocks' rims showed, px: `shift_px` (b,) from the edge taken to the true one, outward; `width_px` (b,).

    Uncertainty of the shifts: `shared_px` (b, g), standard parts of which blocks have shares, column by column, and
    `own_px` (b,); of the widths `width_parts_px` (b, h). `blur_px`, `brightness`: the optics' and the metal's;
    `surprise`: by how many standard deviations the profiles' mean width differs from what was known of it.
    """

    shift_px: Array
    shared_px: Array
    own_px: Array
    width_px: Array
    width_parts_px: Array
    blur_px: float
    brightness: float
    surprise: float
