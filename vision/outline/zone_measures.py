"""Measures per zone: largest deviations, root mean square, and extents of the outline."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.geometry import CameraMapping
from vision.outline.band import RimBand
from vision.outline.band_along import BandAlong, along_nominal
from vision.outline.nominal import Nominal
from vision.outline.place_errors import PlaceErrors, height_errors
from vision.outline.placement import Placement
from vision.outline.profile import Profile
from vision.records import Array, Pair, Station, UncertaintyComponents


@dataclass(frozen=True, slots=True)
class ZoneSettings:
    """What must have been seen for a zone to be measured, and what smoothing leaves in its uncertainties."""

    # Share of a zone that must have been seen for its deviations to be told at all.
    least_seen: float = 0.5
    # How far around an extreme point the outline must have been seen for an extent to be told (mm) ...
    near_extreme_mm: float = 2.0
    # ... and the share of that stretch, since a speck of dust on it does no harm.
    least_seen_near: float = 0.6
    # Smoothing chosen by the data is noisier than smoothing given beforehand, and a maximum seeks out what noise is
    # left; measured on rendered frames of two noise levels: this much of the chosen kernel's noise ...
    choice: float = 1.8
    # ... and of the finest one's.
    least_noise: float = 0.5
    # How well the curvature of an edge is known where it is put back: a share of the correction itself.
    lift_uncertainty: float = 0.4
    # Where a zone's deviations are zero on average, this share of an even error remains in their root mean square
    # (measured on rendered frames: about a third).
    uneven: float = 0.35
    # A band's width is told where it is known to this share of itself.
    band_relative_u: float = 0.2
    # What smoothing and the edge's slope leave of a bump's height: this share of it (measured on rendered bumps).
    form_uncertainty: float = 0.002


ZONES = ZoneSettings()


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """One value and what its standard uncertainty is made of; both None where missing.

    `place`: where on the drawing it was taken, mm: the extreme, both ends of an extent, ends and middle of a stretch.
    """

    value: float | None
    components: UncertaintyComponents | None
    place: tuple[Pair, ...] = ()

    @property
    def uncertainty(self) -> float | None:
        """Standard uncertainty (k = 1)."""
        return None if self.components is None else self.components.combined


MISSING = Measured(None, None)


def place_at(*points: Array) -> tuple[Pair, ...]:
    """Points (2,) as a place, to a micrometre: no measure is better."""
    return tuple((round(float(x), 3), round(float(y), 3)) for x, y in points)


@dataclass(frozen=True, slots=True, eq=False)
class OpticsLeft:
    """What lens and height leave of the outline's place: standard uncertainties in mm, errors along it (None: none)."""

    flare_mm: float
    coma_mm: float
    height: PlaceErrors | None


@dataclass(frozen=True, slots=True, eq=False)
class OutlineSeen:
    """A placed profile with what its uncertainties need.

    Standard uncertainties of each deviation, (n,): `pose_mm` from the fit, `edge_mm` from photon noise, `form_mm` from
    the curvature put back and what smoothing leaves. `shape` (m, 2): the measured outline at the nominal's fine points,
    drawing mm. `band`: the rim's, None where nothing is known of it; `optics` what lens and height leave.
    """

    nominal: Nominal
    profile: Profile
    pose_mm: Array
    edge_mm: Array
    form_mm: Array
    shape: Array
    station: Station
    band: BandAlong | None
    optics: OpticsLeft

    def of_largest(self, value: Array, at: NDArray[np.int64]) -> UncertaintyComponents:
        """What the uncertainty of the largest of the deviations (k,) at nominal points `at` (k,) is made of."""
        index = int(at[value.argmax()])
        return UncertaintyComponents(
            station=self.station.outline_mm,
            pose=float(self.pose_mm[index]),
            edge=float(self.edge_mm[index]),
            form=float(self.form_mm[index]),
            rim=self.band.errors.of_largest(value, at) if self.band else 0.0,
            flare=self.optics.flare_mm,
            coma=self.optics.coma_mm,
            height=self.optics.height.of_largest(value, at) if self.optics.height else 0.0,
        )

    def place_of(self, index: int) -> tuple[Pair, ...]:
        """Where the outline was measured at a point of the nominal."""
        return place_at(self.nominal.points[index] + self.profile.value[index] * self.nominal.normals[index])


def rim_along(
    band: RimBand | None, placement: Placement, nominal: Nominal, camera: CameraMapping
) -> tuple[BandAlong | None, OpticsLeft]:
    """A placed piece's band by the nominal's points, and what lens and height leave."""
    height = height_errors(placement, nominal, camera)
    if band is None:
        return None, OpticsLeft(0.0, 0.0, height)
    return along_nominal(band, placement, nominal), OpticsLeft(band.flare_mm, band.coma_mm, height)


def outline_seen(
    nominal: Nominal, profile: Profile, pose_mm: Array, station: Station, band: BandAlong | None, optics: OpticsLeft
) -> OutlineSeen:
    """Gather what all zones of a piece share."""
    edge = np.hypot(ZONES.choice * profile.sd, ZONES.least_noise * profile.fine_sd)
    form = np.hypot(ZONES.lift_uncertainty * profile.lift, ZONES.form_uncertainty * profile.value)
    fine = nominal.fine
    value = np.interp(fine.at, np.arange(len(profile.value) + 1), np.append(profile.value, profile.value[0]))
    shape = fine.points + value[:, None] * fine.normals
    return OutlineSeen(nominal, profile, pose_mm, edge, form, shape, station, band, optics)


@dataclass(frozen=True, slots=True, eq=False)
class ZoneDeviations:
    """Of one zone: the largest outward and inward deviation (both >= 0), and the root mean square."""

    outward: Measured
    inward: Measured
    rms: Measured


def deviations(seen: OutlineSeen, zone: int) -> ZoneDeviations:
    """How far one zone lies from its drawing."""
    inside = (seen.nominal.zone == zone) & seen.profile.seen
    if inside.sum() < ZONES.least_seen * max((seen.nominal.zone == zone).sum(), 1):
        return ZoneDeviations(MISSING, MISSING, MISSING)
    at = np.flatnonzero(inside)
    value = seen.profile.value[at]
    out, in_ = int(value.argmax()), int(value.argmin())
    rms = float(np.sqrt(np.mean(value**2)))
    # An even error e of all deviations changes their root mean square by e x mean / rms; where the mean is near zero
    # errors are not even, and about a third of one remains (measured on rendered frames).
    lean = max(abs(float(value.mean())) / max(rms, 1e-9), ZONES.uneven)
    even = UncertaintyComponents(
        station=lean * seen.station.outline_mm,
        edge=float(np.sqrt(np.mean(seen.profile.sd[at] ** 2))),
        rim=seen.band.errors.of_rms(value, at) if seen.band else 0.0,
        flare=lean * seen.optics.flare_mm,
        coma=lean * seen.optics.coma_mm,
        height=seen.optics.height.of_rms(value, at) if seen.optics.height else 0.0,
    )
    farthest = out if value[out] > -value[in_] else in_
    return ZoneDeviations(
        outward=Measured(max(0.0, float(value[out])), seen.of_largest(value, at), seen.place_of(int(at[out]))),
        inward=Measured(max(0.0, -float(value[in_])), seen.of_largest(-value, at), seen.place_of(int(at[in_]))),
        rms=Measured(rms, even, seen.place_of(int(at[farthest]))),
    )


def extent(seen: OutlineSeen, axis: int, zone: int | None) -> Measured:
    """Extent of the outline along drawing x (axis 0) or y (1), of one zone or of the whole.

    Taken at the nominal's fine points, as a width is defined.
    """
    fine, profile = seen.nominal.fine, seen.profile
    inside = np.ones(len(fine.points), bool) if zone is None else fine.zone == zone
    if not inside.any():
        return MISSING
    shape = seen.shape[:, axis]
    tops = np.flatnonzero(inside)[[int(shape[inside].argmax()), int(shape[inside].argmin())]]
    ends = np.rint(fine.at[tops]).astype(int) % len(profile.value)
    reach = max(1, round(ZONES.near_extreme_mm / seen.nominal.step_mm))
    for end in ends:
        around = (end + np.arange(-reach, reach + 1)) % len(profile.value)
        near = around if zone is None else around[seen.nominal.zone[around] == zone]
        if profile.seen[near].mean() < ZONES.least_seen_near:
            return MISSING
    size = float(shape[tops[0]] - shape[tops[1]])
    both = int(ends[0]), int(ends[1])
    # The pose moves both ends alike, so that it counts only where a zone ends on a slope: there it slides along.
    slope = np.abs(seen.nominal.normals[ends, 1 - axis])
    components = UncertaintyComponents(
        station=float(np.sqrt(2) * seen.station.outline_mm),
        scale=size * seen.station.scale_relative,
        pose=float((seen.pose_mm[ends] * slope).sum()),
        edge=float(np.hypot(*seen.edge_mm[ends])),
        form=float(np.hypot(*seen.form_mm[ends])),
        rim=seen.band.errors.of_extent(*both) if seen.band else 0.0,
        flare=2 * seen.optics.flare_mm,
        coma=float(np.sqrt(2) * seen.optics.coma_mm),
        height=seen.optics.height.of_extent(*both) if seen.optics.height else 0.0,
    )
    return Measured(size, components, place_at(*seen.shape[tops]))


def rim_band(band: BandAlong | None, inside: NDArray[np.bool_]) -> Measured:
    """Mean width of the bright band over a zone's points `inside` (n,); missing where it is no wider than the blur."""
    if band is None or not band.band.fitted:
        return MISSING
    width, uncertainty = band.width_over(inside)
    if width < band.band.blur_mm or uncertainty > ZONES.band_relative_u * width:
        return MISSING
    return Measured(width, UncertaintyComponents(rim=uncertainty))
