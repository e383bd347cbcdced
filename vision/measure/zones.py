"""Measures per zone: largest deviations, root mean square, and extents of the outline."""

from dataclasses import dataclass

import numpy as np

from vision.measure.nominal import Nominal
from vision.measure.profile import Profile
from vision.records.given import Array, Station

# Share of a zone that must have been seen for its deviations to be told at all.
_LEAST_SEEN = 0.5
# How far around an extreme point the outline must have been seen for an extent to be told (mm).
_NEAR_EXTREME_MM = 2.0
# ... and the share of that stretch, since a speck of dust on it does no harm.
_LEAST_SEEN_NEAR = 0.6
# Smoothing chosen by the data is noisier than smoothing given beforehand, and a maximum seeks out what noise is left;
# measured on rendered frames of two noise levels: this much of the chosen kernel's noise, and of the finest one's.
_CHOICE, _LEAST_NOISE = 1.8, 0.5
# How well the curvature of an edge is known where it is put back: a share of the correction itself.
_LIFT_DOUBT = 0.4
_UNEVEN = 0.35
# What smoothing and the edge's slope leave of a bump's height: this share of it (measured on rendered bumps).
_FORM_DOUBT = 0.002


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """One value and its standard uncertainty; both None where missing."""

    value: float | None
    uncertainty: float | None


MISSING = Measured(None, None)


@dataclass(frozen=True, slots=True, eq=False)
class OutlineSeen:
    """A placed profile with what its uncertainties need.

    `pose_sd_mm` (n,): of the deviations, from the fit; `noise_mm` (n,): standard uncertainty of each deviation with the
    pose's share left out; `shape` (m, 2): the measured outline at the nominal's fine points, drawing mm.
    """

    nominal: Nominal
    profile: Profile
    pose_sd_mm: Array
    noise_mm: Array
    shape: Array
    station: Station


def outline_seen(nominal: Nominal, profile: Profile, pose_sd_mm: Array, station: Station) -> OutlineSeen:
    """Gather what all zones of a piece share."""
    noise = np.sqrt(
        station.outline_mm**2
        + (_CHOICE * profile.sd) ** 2
        + (_LEAST_NOISE * profile.fine_sd) ** 2
        + (_LIFT_DOUBT * profile.lift) ** 2
        + (_FORM_DOUBT * profile.value) ** 2
    )
    fine = nominal.fine
    value = np.interp(fine.at, np.arange(len(profile.value) + 1), np.append(profile.value, profile.value[0]))
    return OutlineSeen(nominal, profile, pose_sd_mm, noise, fine.points + value[:, None] * fine.normals, station)


def deviations(seen: OutlineSeen, zone: int) -> tuple[Measured, Measured, Measured]:
    """Largest outward and inward deviation (both >= 0) and the root mean square of one zone."""
    inside = (seen.nominal.zone == zone) & seen.profile.seen
    if inside.sum() < _LEAST_SEEN * max((seen.nominal.zone == zone).sum(), 1):
        return MISSING, MISSING, MISSING
    value = seen.profile.value[inside]
    noise = np.hypot(seen.noise_mm, seen.pose_sd_mm)[inside]
    out, in_ = int(value.argmax()), int(value.argmin())
    rms = float(np.sqrt(np.mean(value**2)))
    # An even error e of all deviations changes their root mean square by e x mean / rms; where the mean is near zero
    # errors are not even, and about a third of one remains (measured on rendered frames).
    lean = max(abs(float(value.mean())) / max(rms, 1e-9), _UNEVEN)
    rms_sd = np.hypot(lean * seen.station.outline_mm, float(np.sqrt(np.mean(seen.profile.sd[inside] ** 2))))
    return (
        Measured(max(0.0, float(value[out])), float(noise[out])),
        Measured(max(0.0, -float(value[in_])), float(noise[in_])),
        Measured(rms, float(rms_sd)),
    )


def extent(seen: OutlineSeen, axis: int, zone: int | None) -> Measured:
    """Extent of the outline along drawing x (axis 0) or y (1), of one zone or of the whole.

    Taken at the nominal's fine points, so that a zone's bounds are met to `FINE_MM`.
    """
    fine, profile = seen.nominal.fine, seen.profile
    inside = np.ones(len(fine.points), bool) if zone is None else fine.zone == zone
    if not inside.any():
        return MISSING
    shape = seen.shape[:, axis]
    tops = np.flatnonzero(inside)[[int(shape[inside].argmax()), int(shape[inside].argmin())]]
    ends = np.rint(fine.at[tops]).astype(int) % len(profile.value)
    # An extreme at a zone's bound is met to a fine step only; elsewhere its neighbours lie as far out.
    steps = np.abs(np.stack((np.roll(shape, 1)[tops], np.roll(shape, -1)[tops])) - shape[tops]).max(axis=0)
    reach = max(1, round(_NEAR_EXTREME_MM / seen.nominal.step_mm))
    for end in ends:
        around = (end + np.arange(-reach, reach + 1)) % len(profile.value)
        near = around if zone is None else around[seen.nominal.zone[around] == zone]
        if profile.seen[near].mean() < _LEAST_SEEN_NEAR:
            return MISSING
    size = float(shape[tops[0]] - shape[tops[1]])
    noise = seen.noise_mm[ends] ** 2 + steps**2 / 3
    return Measured(size, float(np.sqrt(noise.sum() + (size * seen.station.scale_relative) ** 2)))
