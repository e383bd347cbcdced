"""The bright band along a piece's rim: seen where its profile tells, else reckoned from what is known of light and rim.

Every outline point lies at the half level, which a bright rim moves into the metal. What is known (the backlight's half
angle, the rim's radius) and what the profiles of a few millimetres of edge each show give the way out to the true edge,
with an uncertainty in two parts: what all places have in common, which adds up in a length, and each place's own.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.geometry import CameraMapping
from vision.outline.band_blocks import Cut, cut_outline, even_points, mean_profiles, scatter_of
from vision.outline.band_fit import fit_band, known_band
from vision.outline.band_model import EdgeBlocks
from vision.outline.band_told import Band, BandPrior
from vision.outline.edges import Outline, blur_px
from vision.outline.light_extent import LightExtent, light_extent
from vision.outline.place_errors import lean
from vision.outline.rim_light import band_share, staircase
from vision.records import Array, HalfAngle, Part, RimRadius


@dataclass(frozen=True, slots=True)
class BandSettings:
    """How the bright band along a rim is looked for, and what is taken of a rim or light that nobody knows."""

    # A round rim's radius (mm) where a part's file says nothing: thin blanks are 0.05 mm round, heavily buffed ones 0.6
    # (own choice) ...
    any_rim_mm: float = 0.3
    # ... and how far it may lie from it (k = 1, mm).
    any_rim_u_mm: float = 0.15
    # A band that is surely narrower than this share of the blur leaves no mark on the profile worth a fit.
    narrow: float = 0.6
    # An even error of both levels moves the matched step by so many times the blur (derived: twice the root of pi).
    level_px: float = 3.54
    # Samples at either end of a profile that show the levels.
    ends: int = 2
    # Normal deviate below which nineteen of twenty lie.
    one_side: float = 1.645
    # The staircase of an angle this near (degrees) is the same to a thousandth: few are kept.
    angle_step_deg: float = 0.5


BAND = BandSettings()

KnownBy = Literal["station", "frame", "nobody"]


@dataclass(frozen=True, slots=True, eq=False)
class RimBand:
    """The band in b blocks along one piece: `at_mm` (b, 2) in the tray; the rest in mm.

    `shift_mm` (b,): from the half level out to the true edge, as put back, standard uncertainty `shared_mm` (b, g) by
    parts of which blocks have shares and `own_mm` (b,); `width_mm` (b,) of the band, `width_parts_mm` (b, h);
    `backlight`: by whom its extent is known; `fitted`: the profiles were fitted. `blur_mm`: the optics' own, without
    the band; `flare_mm`, `coma_mm`: standard uncertainties of an edge's place that the lens leaves.
    """

    at_mm: Array
    shift_mm: Array
    shared_mm: Array
    own_mm: Array
    width_mm: Array
    width_parts_mm: Array
    blur_mm: float
    brightness: float
    surprise: float
    backlight: KnownBy
    fitted: bool
    flare_mm: float
    coma_mm: float

    @property
    def unknown_mm(self) -> float:
        """How far inward an unknown backlight may have moved the half level, at two standard uncertainties."""
        return 2 * float(np.linalg.norm(self.shared_mm, axis=1).max()) if self.backlight == "nobody" else 0.0

    @property
    def reach_mm(self) -> float:
        """Root mean square of how far the band moved the half level, and may have."""
        variance = (self.shared_mm**2).sum(axis=1) + self.own_mm**2
        return float(np.sqrt(np.mean(self.shift_mm**2 + variance)))


def see_band(outline: Outline, part: Part, camera: CameraMapping, mm_per_px: float) -> tuple[Outline, RimBand | None]:
    """The outline moved out to the true edge, and the band that says by how much; none for an outline too short."""
    cut = cut_outline(outline, mm_per_px)
    if cut is None:
        return outline, None
    centers, normals = cut.mean(outline.points_px, outline.valid), cut.mean(outline.normals_px, outline.valid)
    normals /= np.hypot(normals[:, 0], normals[:, 1])[:, None]
    at_mm = camera.to_tray(centers)
    outward = camera.to_tray(centers + normals) - at_mm
    rim = part.rim or RimRadius(BAND.any_rim_mm, BAND.any_rim_u_mm)
    tilt_deg, blur = _tilt_deg(at_mm, outward, camera), blur_px(outline.profile)
    backlight = camera.station.backlight
    known_by: KnownBy = "station"
    if backlight is not None:
        half_deg, prior = backlight.half_deg, _known(backlight, rim, mm_per_px)
    else:
        extent = light_extent(outline.profile, blur, rim, mm_per_px)
        known_by = "frame" if extent.seen else "nobody"
        half_deg, prior = extent.half_deg, _seen(extent, rim, mm_per_px)
    prior = replace(prior, scale=_scale(half_deg, tilt_deg), alike=cut.alike(mm_per_px))
    steps = staircase(round(half_deg / BAND.angle_step_deg) * BAND.angle_step_deg)
    widest = prior.width_px + 2 * float(np.hypot(prior.shared_px, prior.own_px))
    fitted = known_by != "nobody" and bool(widest > BAND.narrow * blur)
    even = even_points(outline)
    blocks = mean_profiles(outline, cut, normals, even)
    if fitted:
        seen = fit_band(blocks, scatter_of(outline, cut, even), steps, prior, blur)
    else:
        seen = known_band(steps, prior, blur)
    if backlight is None and not extent.seen:
        # Nothing is put back; all that the band may have moved the edge is doubt, and it goes with each place's radius.
        moved_px = prior.scale * extent.shift_px
        own = rim.u_mm / rim.mm
        # It errs to one side: nineteen of twenty places lie within 1.65 of their own doubt beyond what the mean rim's
        # band may have moved at most, and two standard uncertainties must reach there.
        shared = np.sqrt(((1.0 + BAND.one_side * own) / 2) ** 2 - min(own, 1.0) ** 2)
        seen = replace(
            seen, shift_px=np.zeros_like(moved_px), shared_px=shared * moved_px[:, None], own_px=own * moved_px
        )
    moved = _moved(outline, cut, seen)
    return moved, RimBand(
        at_mm=at_mm,
        shift_mm=seen.shift_px * mm_per_px,
        shared_mm=seen.shared_px * mm_per_px,
        own_mm=seen.own_px * mm_per_px,
        width_mm=seen.width_px * mm_per_px,
        width_parts_mm=seen.width_parts_px * mm_per_px,
        blur_mm=seen.blur_px * mm_per_px,
        brightness=seen.brightness,
        surprise=seen.surprise,
        backlight=known_by,
        fitted=fitted,
        # Where the profiles were fitted, the levels beside each block were fitted with them.
        flare_mm=0.0 if fitted else _uneven_levels(blocks) * BAND.level_px * seen.blur_px * mm_per_px,
        coma_mm=coma_left_px(blocks, blur) * mm_per_px,
    )


def _tilt_deg(at_mm: Array, outward: Array, camera: CameraMapping) -> Array:
    """How far each place's line of sight leans outward, which takes as much from the backlight's half angle: (b,)."""
    return np.asarray(np.degrees(np.arctan(lean(at_mm, outward, camera))))


def _known(backlight: HalfAngle, rim: RimRadius, mm_per_px: float) -> BandPrior:
    """The band's width as known from light and rim."""
    share = band_share(backlight.half_deg)
    slope = band_share(backlight.half_deg + backlight.u_deg) - band_share(
        max(backlight.half_deg - backlight.u_deg, 0.0)
    )
    return _prior(rim.mm * share, rim.mm * slope / 2, share * rim.u_mm, mm_per_px)


def _seen(extent: LightExtent, rim: RimRadius, mm_per_px: float) -> BandPrior:
    """The band's width as the frame's edges tell it."""
    own = band_share(extent.half_deg) * rim.u_mm
    return _prior(extent.width_px * mm_per_px, extent.u_px * mm_per_px, own, mm_per_px)


def _prior(width_mm: float, light_mm: float, rim_mm: float, mm_per_px: float) -> BandPrior:
    """Of a width with standard uncertainties by the light, and by the rim's radius at any one place."""
    # Of the radius's doubt half the variance is taken as common to the whole outline, half as each place's own.
    own = rim_mm / np.sqrt(2)
    # No doubt at all is none to weigh by.
    shared_px = max(float(np.hypot(own, light_mm)) / mm_per_px, 1e-6)
    return BandPrior(width_mm / mm_per_px, shared_px, max(float(own) / mm_per_px, 1e-6), np.ones(1), np.eye(1))


def _scale(half_deg: float, tilt_deg: Array) -> Array:
    """How many times wider the band is at each place than where the camera looks straight down: (b,)."""
    share = band_share(half_deg)
    if not share:
        return np.ones(len(tilt_deg))
    return np.array([band_share(max(half_deg - tilt, 0.0)) for tilt in tilt_deg]) / share


def _uneven_levels(blocks: EdgeBlocks) -> float:
    """By how much dark and bright levels beside an edge are off alike, rms over the blocks, as a share of the light.

    Scattered light lifts the dark and lowers the bright side of an edge; the half level moves by what differs.
    """
    beside = blocks.light[:, : BAND.ends].mean(axis=1) + blocks.light[:, -BAND.ends :].mean(axis=1) - 1.0
    return float(np.sqrt(np.mean((beside / 2) ** 2)))


def coma_left_px(blocks: EdgeBlocks, blur: float) -> float:
    """What a lens's coma leaves of an edge's place after the piece's own shift, px.

    Coma moves opposite edges the same way in the image: a shift of the piece, which its place takes up, but for the
    part that goes with thrice the edge's direction, a quarter of it. Its size is the profiles' third moment that turns
    with the edge's direction.
    """
    z = (blocks.at_px - blocks.edge_px[:, None]) / blur
    lopsided = (z * z - 1.0) * np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
    third = -6.0 * blur**3 * ((blocks.light - ndtr(z)) * lopsided).sum(axis=1) / (lopsided**2).sum(axis=1)
    turning = np.linalg.lstsq(blocks.normals, third - third.mean(), rcond=None)[0]
    return float(np.hypot(*turning)) / (6.0 * blur**2) / 4.0


def _moved(outline: Outline, cut: Cut, seen: Band) -> Outline:
    count = len(outline.valid)
    shift = np.interp(np.arange(count), cut.middle(), seen.shift_px, period=count)
    return replace(outline, points_px=outline.points_px + shift[:, None] * outline.normals_px)


def of_piece(band: RimBand, own: NDArray[np.bool_]) -> RimBand | None:
    """The band of blocks (b,) that are a piece's own; None without any."""
    per_block = ("at_mm", "shift_mm", "shared_mm", "own_mm", "width_mm", "width_parts_mm")
    return replace(band, **{name: getattr(band, name)[own] for name in per_block}) if own.any() else None
