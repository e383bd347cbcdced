"""Measures per zone: largest deviations, root mean square, and extents of the outline."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.measure.nominal import Nominal
from vision.measure.profile import Profile
from vision.records.given import Array, Station

# Share of a zone that must have been seen for its deviations to be told at all.
_LEAST_SEEN = 0.5
# How far around an extreme point the outline must have been seen for an extent to be told (mm).
_NEAR_EXTREME_MM = 2.0
# How well the curvature of an edge is known where it is put back: a share of the correction itself.
_LIFT_DOUBT = 0.4


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """One value and its standard uncertainty; both None where missing."""

    value: float | None
    uncertainty: float | None


MISSING = Measured(None, None)


@dataclass(frozen=True, slots=True, eq=False)
class OutlineSeen:
    """A placed profile with what its uncertainties need. `pose_sd_mm` (n,): of the deviations, from the fit."""

    nominal: Nominal
    profile: Profile
    pose_sd_mm: Array
    station: Station


def deviations(seen: OutlineSeen, zone: int) -> tuple[Measured, Measured, Measured]:
    """Largest outward and inward deviation (both >= 0) and the root mean square of one zone."""
    inside = (seen.nominal.zone == zone) & seen.profile.seen
    if inside.sum() < _LEAST_SEEN * max((seen.nominal.zone == zone).sum(), 1):
        return MISSING, MISSING, MISSING
    value = seen.profile.value[inside]
    noise = np.sqrt(
        seen.profile.sd[inside] ** 2
        + seen.pose_sd_mm[inside] ** 2
        + (_LIFT_DOUBT * seen.profile.lift[inside]) ** 2
        + seen.station.outline_mm**2
    )
    out, in_ = int(value.argmax()), int(value.argmin())
    rms = float(np.sqrt(np.mean(value**2)))
    # An even error e of all deviations changes their root mean square by e x mean / rms.
    lean = abs(float(value.mean())) / max(rms, 1e-9)
    rms_sd = np.hypot(lean * seen.station.outline_mm, float(np.sqrt(np.mean(seen.profile.sd[inside] ** 2))))
    return (
        Measured(max(0.0, float(value[out])), float(noise[out])),
        Measured(max(0.0, -float(value[in_])), float(noise[in_])),
        Measured(rms, float(rms_sd)),
    )


def extent(seen: OutlineSeen, axis: int, zone: int | None) -> Measured:
    """Extent of the outline along drawing x (axis 0) or y (1), of one zone or of the whole.

    A zone ends exactly at its bounds: points where the nominal crosses them are put in between the even steps.
    """
    nominal, profile = seen.nominal, seen.profile
    shape = nominal.points + profile.value[:, None] * nominal.normals
    if zone is None:
        inside = np.ones(len(shape), bool)
        at, index = shape[:, axis], np.arange(len(shape))
    else:
        inside = nominal.zone == zone
        extra, beside = _bounds(nominal, shape, zone)
        at = np.concatenate((shape[inside, axis], extra[:, axis]))
        index = np.concatenate((np.flatnonzero(inside), beside))
    if not len(at):
        return MISSING
    high, low = int(at.argmax()), int(at.argmin())
    reach = max(1, round(_NEAR_EXTREME_MM / nominal.step_mm))
    for end in (index[high], index[low]):
        around = (end + np.arange(-reach, reach + 1)) % len(shape)
        near = around[inside[around]] if zone is not None else around
        if not profile.seen[near].all():
            return MISSING
    size = float(at[high] - at[low])
    ends = profile.sd[index[[high, low]]] ** 2 + (_LIFT_DOUBT * profile.lift[index[[high, low]]]) ** 2
    u = np.sqrt(2 * seen.station.outline_mm**2 + ends.sum() + (size * seen.station.scale_relative) ** 2)
    return Measured(size, float(u))


def _bounds(nominal: Nominal, shape: Array, zone: int) -> tuple[Array, NDArray[np.int64]]:
    """Measured points where the nominal crosses the zone's bounds, and the nominal point before each."""
    x = nominal.points[:, 0]
    after = np.roll(x, -1)
    points, beside = [np.empty((0, 2))], [np.empty(0, np.int64)]
    for bound in nominal.part.zones[zone].x_mm:
        crossing = np.flatnonzero((x < bound) != (after < bound))
        share = ((bound - x[crossing]) / (after[crossing] - x[crossing]))[:, None]
        points.append(shape[crossing] * (1 - share) + np.roll(shape, -1, axis=0)[crossing] * share)
        beside.append(crossing)
    return np.concatenate(points), np.concatenate(beside)
