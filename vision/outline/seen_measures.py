"""What was seen of the outline, as measures; and what stands at the rim, where it counts as a burr."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.geometry import Motion
from vision.outline.holes import Rim, drawn_rims
from vision.outline.unexplained import Unexplained
from vision.outline.zone_measures import Measured, OutlineSeen, place_at
from vision.records import Array, Part, Stray, UncertaintyComponents


@dataclass(frozen=True, slots=True)
class SeenSettings:
    """What noise leaves of openings and strays, and when a stray needs a person."""

    # Of an opening's area: what noise leaves where there is none (mm2) ...
    area_u_mm2: float = 0.002
    # ... where a pixel is so wide (mm); it goes with a pixel's area ...
    area_at_mm: float = 0.05
    # ... and the share of it that the light's level leaves.
    area_share_u: float = 0.05
    # A stray's reach is read to this part of a pixel.
    reach_px: float = 0.3
    # What reaches out farther than this from the rim (mm) and is not sure to be metal may be a burr all the same.
    in_the_way_mm: float = 0.5


SEEN = SeenSettings()


def what_was_seen(seen: OutlineSeen, rest: Unexplained, mm_per_px: float) -> dict[str, dict[str, Measured] | Measured]:
    """`outline_seen`, `outline_unseen_mm` of each zone and `opening_area_mm2`.

    A stretch that runs over a zone's bound is a stretch of both, whole.
    """
    nominal = seen.nominal
    step = nominal.step_mm
    runs = _runs_mm(~rest.seen, step)
    shares, stretches = {}, {}
    for index, zone in enumerate(nominal.part.zones):
        inside = nominal.zone == index
        total = max(int(inside.sum()), 1)
        share = float(rest.seen[inside].mean()) if inside.any() else 0.0
        longest = float(runs[inside].max(initial=0.0))
        hidden = np.flatnonzero(inside & (runs == longest) & (longest > 0.0))
        place = place_at(*nominal.points[hidden[[0, len(hidden) // 2, -1]]]) if len(hidden) else ()
        shares[zone.name] = Measured(share, UncertaintyComponents(edge=1.0 / total), place)
        stretches[zone.name] = Measured(longest, UncertaintyComponents(edge=step), place)
    area = sum(one.area_mm2 for one in rest.openings)
    light = place_at(*(np.array(one.center_mm) for one in rest.openings))
    uncertainty = UncertaintyComponents(
        edge=float(np.hypot(SEEN.area_u_mm2 * (mm_per_px / SEEN.area_at_mm) ** 2, SEEN.area_share_u * area))
    )
    return {
        "outline_seen": shares,
        "outline_unseen_mm": stretches,
        "opening_area_mm2": Measured(area, uncertainty, light),
    }


def _runs_mm(hidden: NDArray[np.bool_], step_mm: float) -> Array:
    """Length (n,) of the hidden stretch that each point of a closed outline belongs to; 0 where it is seen."""
    count = len(hidden)
    if hidden.all():
        return np.full(count, count * step_mm)
    first = int(np.flatnonzero(~hidden)[0])
    turned = np.roll(hidden, -first)
    number = np.cumsum(np.diff(turned.astype(np.int8), prepend=0) == 1) * turned
    lengths = np.bincount(number, minlength=1) * step_mm
    lengths[0] = 0.0
    return np.asarray(np.roll(lengths[number], first))


def with_burrs(
    outward: dict[str, Measured], strays: tuple[Stray, ...], station_mm: float, mm_per_px: float
) -> dict[str, Measured]:
    """Outward deviations in which what joins the metal counts with its true reach."""
    found = dict(outward)
    for stray in strays:
        if stray.joins and stray.reach_mm > (found[stray.zone].value or 0.0):
            found[stray.zone] = Measured(
                stray.reach_mm,
                UncertaintyComponents(station=station_mm, edge=SEEN.reach_px * mm_per_px),
                place_at(np.array(stray.center_mm)),
            )
    return found


def is_hidden(outward: dict[str, Measured], rims: list[Rim], to_drawing: Motion, part: Part) -> bool:
    """Whether a whole zone could not be measured, or a drawn hole does not show."""
    return any(one.value is None for one in outward.values()) or None in drawn_rims(rims, to_drawing, part)


def is_in_the_way(stray: Stray) -> bool:
    """Whether something at the rim may be a burr or lint, so that a person must look."""
    return not stray.joins and stray.reach_mm > SEEN.in_the_way_mm
