"""Zones of a part from its outline's own widths: bowl, neck and handle, datum, bend zone, scored area.

A first proposal for a person to look at. The neck is where the outline is narrowest between its widest place and the
handle's end; the bowl ends where its width has fallen to a tenth above that, the neck where it is narrowest.
"""

from dataclasses import dataclass

import numpy as np

from vision.drafting.laying import widths_at
from vision.records import Array, Surface, Zone

# The bowl ends where this share of its width's fall to the neck is left ...
_BOWL_LEFT = 0.1
# ... and the neck where so little is.
_NECK_LEFT = 0.01
# An outline whose narrowest place is not narrower than this share of its widest has no neck.
_NECK_SHARE = 0.75
# The handle's own rounded end, as a share of the length, is no neck.
_END_SHARE = 0.15
# The scored area ends so far before the bowl does, where the face turns to the neck, and stays so far inside the rim,
# whose own round throws light anyhow: common practice, no source.
_SURFACE_SHORT_MM, _INSET_MM = 2.0, 1.5
_STEP_MM = 0.1


@dataclass(frozen=True, slots=True)
class Zoning:
    """Proposed zones, scored area (None where there is no bowl), and the widest width of each zone, mm."""

    zones: tuple[Zone, ...]
    surface: Surface | None
    widest_mm: tuple[float, ...]


def propose_zones(outline: Array) -> Zoning:
    """Propose a part's zones.

    Parameters
    ----------
    outline
        The outline as laid, (n, 2) mm: long axis along x, from x = 0, wider end first.

    Returns
    -------
    Zoning
        Bowl, neck and handle, or one zone where the outline has no neck.
    """
    length = float(outline[:, 0].max())
    ends = 0.0, float(np.ceil(length * 1000.0) / 1000.0)
    places = np.linspace(0.0, length, max(200, round(length / _STEP_MM)))[1:-1]
    widths = widths_at(outline, places)
    top = int(widths.argmax())
    last = int(np.searchsorted(places, (1.0 - _END_SHARE) * length))
    narrow = top + int(widths[top : max(last, top + 1)].argmin())
    if widths[narrow] > _NECK_SHARE * widths[top]:
        return Zoning((Zone("blank", ends, datum=True),), None, (round(float(widths[top]), 3),))
    fall = widths[top:] - widths[narrow]
    most = float(widths[top] - widths[narrow])
    bowl = round(float(places[top + int(np.argmax(fall <= _BOWL_LEFT * most))]), 1)
    neck = round(max(float(places[top + int(np.argmax(fall <= _NECK_LEFT * most))]), bowl + 1.0), 1)
    zones = (
        Zone("bowl", (ends[0], bowl), datum=True),
        Zone("neck", (bowl, neck)),
        Zone("handle", (neck, ends[1]), bend=True),
    )
    widest = tuple(round(float(widths[(places >= zone.x_mm[0]) & (places <= zone.x_mm[1])].max()), 3) for zone in zones)
    surface = Surface((0.0, round(bowl - _SURFACE_SHORT_MM, 1)), _INSET_MM) if bowl > 4.0 * _SURFACE_SHORT_MM else None
    return Zoning(zones, surface, widest)
