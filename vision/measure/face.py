"""The polished face of one piece: scratches, pits and specks on its scored area, and how finely it is finished."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.measure.face_evidence import Evidence, gather
from vision.measure.face_region import FaceView, Mask, find_region
from vision.measure.lines import line_field
from vision.measure.pits import _PATCH_PX, Spot, fit_diameter, spots
from vision.measure.scratches import Candidate, candidates
from vision.records.given import Array
from vision.records.measured import Pit, Scratch, Speck, TrayFinding

# At most so many findings a piece, the strongest.
MOST_FINDINGS = 200
_LEAST_SCRATCH_SNR = 6.0
_LEAST_PIT_SNR = 6.0
_SPECK_MM = 0.12


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
    scored = cv2.resize(region.scored.astype(np.uint8), region.coarse.shape[::-1], interpolation=cv2.INTER_AREA) > 0
    scored &= evidence.seen
    field = line_field(evidence.coarse, scored)
    found = candidates(evidence.coarse, field, scored, _LEAST_SCRATCH_SNR)
    scratches = [_scratch(c, view, evidence) for c in found]
    fine_scored = region.scored & (cv2.resize(evidence.seen.astype(np.uint8), region.fine.shape[::-1], interpolation=cv2.INTER_NEAREST) > 0)
    pits = [_spot(s, view, evidence) for s in spots(evidence.fine, fine_scored, _LEAST_PIT_SNR)]
    # spots on a scratch are part of it
    pits = [p for p in pits if not _on_scratch(p, scratches)]
    area = region.area_mm2 / 100
    findings = sorted((*scratches, *pits), key=lambda f: -f.snr)[:MOST_FINDINGS]
    return FaceScore(tuple(findings), area, 0.0, None, None)


def _scratch(c: Candidate, view: FaceView, evidence: Evidence) -> Scratch:
    px = evidence.region.coarse.to_px(c.curve[:: 5] if len(c.curve) % 5 == 1 else np.vstack((c.curve[::5], c.curve[-1:])))
    mm = view.to_mm(px)
    length = float(np.hypot(*np.diff(mm, axis=0).T).sum())
    return Scratch(tuple(map(tuple, px.tolist())), tuple(map(tuple, mm.tolist())), length, 0.1, c.snr)


def _spot(s: Spot, view: FaceView, evidence: Evidence) -> Pit | Speck:
    px = evidence.region.fine.to_px(np.array([[s.column, s.row]]))
    mm = view.to_mm(px)
    patch = cv2.getRectSubPix(evidence.fine, (2 * _PATCH_PX + 1,) * 2, (s.column, s.row))
    d, _ = fit_diameter(patch, 0.85)
    d_mm = d * view.mm_per_px * evidence.region.fine.step
    make = Pit if d_mm >= _SPECK_MM else Speck
    return make(tuple(px[0].tolist()), tuple(mm[0].tolist()), d_mm, s.snr)


def _on_scratch(p: Pit | Speck, scratches: list[Scratch]) -> bool:
    for s in scratches:
        q = np.array(s.points_mm)
        if np.hypot(*(q - p.center_mm).T).min() < 0.6:
            return True
    return False
