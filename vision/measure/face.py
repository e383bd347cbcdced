"""The polished face of one piece: scratches, pits and specks on its scored area, and how finely it is finished."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.measure.face_evidence import Evidence, gather, reduce, spot_patches
from vision.measure.face_region import FaceView, Mask, find_region
from vision.measure.face_whiten import divided
from vision.measure.lines import line_field
from vision.measure.pits import PATCH_PX, Spot, fit_diameter, sharper_than_optics, spots
from vision.measure.scratches import Candidate, candidates
from vision.records.given import Array
from vision.records.measured import Pit, Scratch, Speck, TrayFinding

# At most so many findings a piece, the strongest.
MOST_FINDINGS = 200
_LEAST_SCRATCH_SNR = 4.5
_LEAST_PIT_SNR = 5.0
_SPECK_MM = 0.125


@dataclass(frozen=True, slots=True, eq=False)
class FaceScore:
    findings: tuple[Scratch | Pit | Speck, ...]
    scored_area_cm2: float | None
    scored_area_uncertainty_cm2: float | None
    buffing_line_level: float | None
    buffing_line_uncertainty: float | None
    light_faults: tuple[TrayFinding, ...] = ()


NOTHING = FaceScore((), None, None, None, None)


def score_face(view: FaceView) -> FaceScore:
    surface = view.part.surface
    if surface is None or (view.pictures.dome is None and not view.pictures.low):
        return NOTHING
    region = find_region(view, surface)
    if region is None:
        return NOTHING
    evidence = gather(region, view.pictures)
    shape = region.coarse.shape
    scored = (reduce(region.scored.astype(np.float32), shape) > 0.5) & evidence.seen
    fine_scored = region.scored & (cv2.resize(evidence.seen.astype(np.uint8), region.fine.shape[::-1], interpolation=cv2.INTER_NEAREST) > 0)
    blur = edge_blur_px(view)
    pits = [_spot(s, view, evidence, blur) for s in spots(evidence.spots, evidence.lines, fine_scored, _LEAST_PIT_SNR)]
    picture = reduce(evidence.lines * _without(pits, evidence), shape)
    picture = divided(picture, picture)
    field = line_field(picture, scored)
    found = candidates(picture, field, scored, _LEAST_SCRATCH_SNR)
    scratches = [_scratch(c, view, evidence) for c in found]
    scratches = [s for s in scratches if not any(_is_part(s, p) for p in pits)]
    # spots on a scratch are part of it
    pits = [p for p in pits if not any(_gap_mm(s, p) < 0.5 for s in scratches)]
    area = region.area_mm2 / 100
    findings = sorted((*scratches, *pits), key=lambda f: -f.snr)[:MOST_FINDINGS]
    return FaceScore(tuple(findings), area, 0.0, None, None)


def _scratch(c: Candidate, view: FaceView, evidence: Evidence) -> Scratch:
    px = evidence.region.coarse.to_px(c.curve[:: 5] if len(c.curve) % 5 == 1 else np.vstack((c.curve[::5], c.curve[-1:])))
    mm = view.to_mm(px)
    length = float(np.hypot(*np.diff(mm, axis=0).T).sum())
    return Scratch(tuple(map(tuple, px.tolist())), tuple(map(tuple, mm.tolist())), length, 0.1, c.snr)


def edge_blur_px(view: FaceView) -> float:
    """Sigma of the optics' blur, image px, from the backlit outline: quarter to three quarters of the mean edge."""
    part = view.part
    tangent = np.roll(part.outline, -1, axis=0) - np.roll(part.outline, 1, axis=0)
    normal = np.column_stack((tangent[:, 1], -tangent[:, 0])) / np.hypot(*tangent.T)[:, None]
    at = np.arange(-5, 5.05, 0.1)
    places = np.concatenate([view.to_px(part.outline + normal * t * view.mm_per_px) for t in at])
    values = []
    for block in np.array_split(places, len(at)):
        b = block.astype(np.float32)
        values.append(np.median(cv2.remap(view.pictures.back.pixels, b[:, :1], b[:, 1:], cv2.INTER_LINEAR)))
    edge = np.array(values, float)
    edge = np.maximum.accumulate((edge - edge[0]) / max(edge[-1] - edge[0], 1e-9))
    low, high = np.interp([0.25, 0.75], edge, at)
    # bilinear reading widens by 1/6 px2 in the mean, the pixel itself by 1/12
    return float(np.sqrt(max(((high - low) / 1.349) ** 2 - 1 / 6 - 1 / 12, 0.25)))


def _without(pits: list[Pit | Speck], evidence: Evidence) -> np.ndarray:
    """1 on the fine raster, falling to 0 over each spot."""
    keep = np.ones(evidence.lines.shape, np.uint8)
    raster = evidence.region.fine
    for p in pits:
        c = raster.from_px(np.array([p.center_px]))[0]
        radius = p.diameter_mm / 2 / evidence.region.coarse_mm * evidence.region.coarse.step / raster.step + 4.0
        cv2.circle(keep, (round(c[0]), round(c[1])), round(radius), 0, -1)
    return keep.astype(np.float32)


def _spot(s: Spot, view: FaceView, evidence: Evidence, blur_px: float) -> Pit | Speck:
    px = evidence.region.fine.to_px(np.array([[s.column, s.row]]))
    mm = view.to_mm(px)
    blur = blur_px / evidence.region.fine.step
    fits = [fit_diameter(patch, use, blur) for patch, use in spot_patches(evidence, s.column, s.row, PATCH_PX)]
    d, _ = max(fits, key=lambda fit: fit[1])
    d_mm = d * view.mm_per_px * evidence.region.fine.step
    make = Speck if d_mm < _SPECK_MM or (d <= 5.0 and sharper_than_optics(evidence.spots, s, blur)) else Pit
    return make(tuple(px[0].tolist()), tuple(mm[0].tolist()), d_mm, s.snr)


def _gap_mm(scratch: Scratch, spot: Pit | Speck) -> float:
    """Distance from a spot's centre to a scratch, mm."""
    points = np.array(scratch.points_mm)
    return float(np.hypot(*(points - spot.center_mm).T).min())


def _is_part(scratch: Scratch, spot: Pit | Speck) -> bool:
    """Whether a short line is no more than the rim of a stronger spot."""
    near = _gap_mm(scratch, spot) < spot.diameter_mm / 2 + 0.4
    return near and scratch.length_mm < 3 * spot.diameter_mm + 0.5 and scratch.snr < spot.snr
