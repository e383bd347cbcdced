"""Whether what lies on a tray has the drawing's shape at another size: a wrong unit or scale, or another station."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.geometry import centroid, length_and_width, signed_area
from vision.outline.found import Found, RegionContents
from vision.outline.regions import Region
from vision.outline.scene import BacklitScene
from vision.outline.single import SINGLE
from vision.records import Array, TrayFinding

# What drawings are mistaken for: the inch is 25.4 mm by definition (ISO 1000).
_UNITS_MM = {"inches": 25.4, "centimetres": 10.0}


@dataclass(frozen=True, slots=True)
class OtherScaleSettings:
    """When the pieces of a tray are told to be of another size than drawn."""

    # Sizes agree to this share: more than a bend or the rough contour of a region makes of any of them, less than any
    # mistaken unit, scale or station does.
    agree: float = 0.03
    # Regions of less than this share of the largest one's area say nothing of the scale: chips, and what lies beside.
    least_share: float = 0.5


OTHER_SCALE = OtherScaleSettings()


@dataclass(frozen=True, slots=True, eq=False)
class OtherScale:
    """All regions of the drawing's shape as pieces of another size, and whether they may still be laid on it."""

    contents: RegionContents
    far: bool


def other_scale(regions: Sequence[Region], scene: BacklitScene) -> OtherScale | None:
    """The factor that most of a tray's regions share, by length, width and area alike; None where one is as drawn."""
    whole = [(one, scene.camera.to_tray(one.outer)) for one in regions if not one.at_border]
    areas = [abs(signed_area(outer)) for _, outer in whole]
    least = OTHER_SCALE.least_share * max(areas, default=0.0)
    asked = [(one, outer, area) for (one, outer), area in zip(whole, areas, strict=True) if area >= least]
    drawn = np.array(length_and_width(scene.nominal.part.outline))
    alike = []
    for one, outer, area in asked:
        size = np.array(length_and_width(outer))
        ratios = np.array([*(size / drawn), np.sqrt(area / scene.nominal.moments.area)])
        factor = float(np.median(ratios))
        if _agree(ratios):
            if abs(factor - 1.0) <= OTHER_SCALE.agree:
                return None
            alike.append((one, float(size[0]), factor))
    factors = np.array([factor for _, _, factor in alike])
    if 2 * len(alike) <= len(asked) or not _agree(factors):
        return None
    lengths = [length for _, length, _ in alike]
    detail = f"pieces ({len(alike)}) are {size_doubt(float(drawn[0]), float(np.median(lengths)))}"
    pieces = tuple(Found(centroid(one.outer), "scale", None, None) for one, _, _ in alike)
    low, high = SINGLE.area_share
    far = not low <= float(np.median(factors)) ** 2 <= high
    return OtherScale(RegionContents(pieces, (TrayFinding("scale", None, detail),)), far)


def _agree(ratios: Array) -> bool:
    return bool(np.ptp(ratios) <= OTHER_SCALE.agree * np.median(ratios))


def size_doubt(drawn_mm: float, seen_mm: float) -> str:
    """What to say where a camera sees a piece of another length than drawn.

    Parameters
    ----------
    drawn_mm, seen_mm
        Its lengths.

    Returns
    -------
    str
        The factor and what may be the cause; empty where the lengths agree.
    """
    ratio = seen_mm / drawn_mm
    if _same(ratio, 1.0):
        return ""
    units = (name for name, mm in _UNITS_MM.items() if _same(ratio, mm) or _same(ratio, 1.0 / mm))
    return (
        f"{ratio:.3g} times as large as drawn ({seen_mm:.4g} mm seen, {drawn_mm:.4g} mm drawn): "
        f"{next(units, 'inches')}, a drawing to a scale, or another station?"
    )


def _same(ratio: float, other: float) -> bool:
    return abs(ratio / other - 1.0) <= OTHER_SCALE.agree
