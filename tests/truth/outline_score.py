"""Compares what was measured on trays with exact truth: the figures that the outline is held to."""

import json
from collections import defaultdict
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from vision.formats.frames import read_frames
from vision.formats.part import read_part
from vision.formats.shot import read_shot
from vision.formats.station import read_station
from vision.pipeline import measure_tray
from vision.records.inputs import HalfAngle, Part, Station
from vision.records.measured import EdgeFinding, MeasuredPiece, MeasuredTray, UncertaintyComponents

PER_ZONE = ("outline_out_mm", "outline_in_mm", "outline_rms_mm", "width_mm")
WHOLE = ("length_mm", "bend_deg", "hole_offset_mm", "hole_diameter_error_mm")
# A piece is found when its centre lies this near (px), a bump when its top does (mm, or its own sigma if longer).
NEAR_PX, NEAR_MM = 20.0, 1.5


@dataclass
class Score:
    """Errors by measure with their stated uncertainties, and counts; filled tray by tray.

    `loose`: openings and stray things told of the pieces, of which rendered ones have none.
    """

    errors: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    ratios: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    components: dict[str, list[UncertaintyComponents]] = field(default_factory=lambda: defaultdict(list))
    found: int = 0
    missed: list[str] = field(default_factory=list)
    extra: list[str] = field(default_factory=list)
    bumps: int = 0
    missed_bumps: list[str] = field(default_factory=list)
    false_bumps: list[str] = field(default_factory=list)
    told: list[tuple[dict[str, int], dict[str, int]]] = field(default_factory=list)
    loose: int = 0

    def rms(self, measure: str) -> float:
        """Root mean square error of a measure."""
        return float(np.sqrt(np.mean(np.square(self.errors[measure]))))

    def worst(self, measure: str) -> float:
        """Largest error of a measure."""
        return float(np.abs(self.errors[measure]).max())

    def within_two_u(self, *measures: str) -> float:
        """Share of errors within twice the stated uncertainty."""
        return float(np.mean(np.abs([r for m in measures for r in self.ratios[m]]) < 2))

    def rms_ratio(self, *measures: str) -> float:
        """Root mean square of error over stated uncertainty."""
        return float(np.sqrt(np.mean(np.square([r for m in measures for r in self.ratios[m]]))))


def score_family(folder: Path) -> Score:
    """Measure every tray of a folder that holds part, station and trays with `truth.json`."""
    part, station = read_part(folder / "part.toml"), read_station(folder / "station.toml")
    # Silhouettes without a rim are those of a collimated light, where their station does not say so.
    return score_trays(folder, part, replace(station, backlight=station.backlight or HalfAngle(0.0, 0.0)))


def score_trays(folder: Path, part: Part, station: Station) -> Score:
    """Measure every tray of a folder by this part and this station."""
    score = Score()
    for path in sorted(folder.glob("*/truth.json")):
        measured = measure_tray(read_frames(read_shot(path.parent), station), part, station)
        compare(json.loads(path.read_text()), measured, score)
    return score


def compare(truth: dict[str, Any], measured: MeasuredTray, score: Score) -> None:
    """Add what was measured on a tray, and what is true of it, to a score."""
    left = [piece for piece in measured.pieces if piece.pose is not None]
    for known in truth["pieces"]:
        near = [p for p in left if p.pose and np.hypot(*np.subtract(p.pose.center_px, known["center_px"])) < NEAR_PX]
        if not near:
            score.missed.append(f"{truth['tray']}: {known['center_px']}")
            continue
        left.remove(near[0])
        score.found += 1
        _compare_piece(truth["tray"], known, near[0], score)
    score.loose += sum(finding.kind in ("opening", "stray") for piece in measured.pieces for finding in piece.findings)
    score.extra += [f"{truth['tray']}: {piece.pose}" for piece in left]
    kinds = sorted({finding["kind"] for finding in truth["tray_findings"]} | {f.kind for f in measured.findings})
    score.told.append(
        (
            {kind: sum(f["kind"] == kind for f in truth["tray_findings"]) for kind in kinds},
            {kind: sum(f.kind == kind for f in measured.findings) for kind in kinds},
        )
    )


def _compare_piece(tray: str, known: dict[str, Any], piece: MeasuredPiece, score: Score) -> None:
    assert piece.pose is not None
    score.errors["center_px"] += list(np.subtract(piece.pose.center_px, known["center_px"]))
    score.errors["angle_deg"].append((piece.pose.angle_deg - known["angle_deg"] + 180) % 360 - 180)
    for name in PER_ZONE:
        values, uncertainties = piece.measures[name], piece.uncertainties[name]
        assert isinstance(values, dict)
        assert isinstance(uncertainties, dict)
        for zone, value in values.items():
            if value is None or (name == "width_mm" and not known["seen"]["width_mm"][zone]):
                continue
            true = known["measures"][name][zone]
            score.errors[name].append(value - true)
            # A zone without any deviation that way, told as such: no error, whatever its uncertainty.
            if value or true:
                score.ratios[name].append(score.errors[name][-1] / uncertainties[zone])
                score.components[name].append(piece.uncertainty_components[name][zone])
    for name in WHOLE:
        value, uncertainty, real = piece.measures.get(name), piece.uncertainties.get(name), known["measures"][name]
        if value is None or real is None or (name == "length_mm" and not known["seen"]["length_mm"]):
            continue
        assert isinstance(value, float)
        assert isinstance(uncertainty, float)
        score.errors[name].append(value - real)
        score.ratios[name].append(score.errors[name][-1] / uncertainty)
        score.components[name].append(piece.uncertainty_components[name][""])
    _compare_bumps(tray, known, piece, score)


def _compare_bumps(tray: str, known: dict[str, Any], piece: MeasuredPiece, score: Score) -> None:
    left = [finding for finding in piece.findings if isinstance(finding, EdgeFinding)]
    for bump in known["findings"]:
        if bump["kind"] == "bend" or not bump.get("seen", True):
            continue
        score.bumps += 1
        reach = max(NEAR_MM, bump["sigma_mm"])
        near = [
            f for f in left if f.kind == bump["kind"] and np.hypot(*np.subtract(f.center_mm, bump["center_mm"])) < reach
        ]
        if near:
            left.remove(near[0])
            score.errors["height_mm"].append(near[0].height_mm - bump["height_mm"])
        else:
            score.missed_bumps.append(f"{tray}: {bump['kind']} of {bump['height_mm']:.3f} mm")
    # A bump that a neighbour hides may be seen in part: what is told there is neither right nor false.
    hidden = [b["center_mm"] for b in known["findings"] if b["kind"] != "bend" and not b.get("seen", True)]
    score.false_bumps += [
        f"{tray}: {finding}"
        for finding in left
        if all(np.hypot(*np.subtract(finding.center_mm, spot)) > 4 for spot in hidden)
    ]
