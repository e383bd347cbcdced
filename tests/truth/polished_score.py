"""Findings against the truth of the polished trays: found, false, split, and how long and wide they were read.

    python tests/truth/polished_score.py ../shared/trays [OWN] [--seed 1] [--trays 2] [--misses]

scores the path-traced trays and our own (`own_faces`, rendered into the folder OWN once) and prints the figures asked
for: plain trays with what is told as it comes, faint ones also at 0.1 false findings of each kind a piece.

The rules are those stated for the figures: a scratch is found when half its length or more is covered by findings
within 0.4 mm; a pit when a finding's centre lies within 0.3 mm or half its diameter. A finding that covers no true
defect is false; defects outside the scored area count neither way.
"""

import argparse
import json
import math
import sys
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from shapely.geometry import LineString, Polygon

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from vision.face.raster import FaceInputs, scored_shape
from vision.face.score import FaceScore, score_face
from vision.formats import shipped_judge
from vision.formats.frames import read_frames
from vision.formats.part import read_part
from vision.formats.shot import read_shot
from vision.formats.station import read_station
from vision.records.inputs import Array, Part, TrayPictures
from vision.records.measured import Pit, Scratch, Speck

SCRATCH_REACH_MM = 0.4
PIT_REACH_MM = 0.3


@dataclass
class PieceScore:
    """One piece: each true defect with what was found of it, and the findings that stand for none."""

    kind: str
    scratches: list[dict] = field(default_factory=list)
    pits: list[dict] = field(default_factory=list)
    false_scratches: list[Scratch] = field(default_factory=list)
    false_pits: list[Pit] = field(default_factory=list)
    largest_snr: float = 0.0
    disturbers: list[tuple[str, bool]] = field(default_factory=list)
    name: str = ""


def truth_of(tray: Path) -> list[dict]:
    """The pieces of a tray's truth."""
    return json.loads((tray / "truth.json").read_text(encoding="utf-8"))


def view_of(pictures: TrayPictures, part: Part, piece: dict, mm_per_px: float) -> FaceInputs:
    """The view of a piece at its true pose, at a plain scale."""
    center_mm = np.array(Polygon(part.outline).centroid.coords[0])
    center_px = np.array(piece["center_px"])
    angle = math.radians(piece["angle_deg"])
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    flip = np.array([1.0, -1.0])

    def to_px(mm: Array) -> Array:
        return np.asarray(center_px + flip * ((mm - center_mm) @ turn.T) / mm_per_px)

    def to_mm(px: Array) -> Array:
        return np.asarray((flip * (px - center_px) * mm_per_px) @ turn + center_mm)

    return FaceInputs(pictures, part, to_px, to_mm, mm_per_px, scale_relative=1e-4, edge_mm=0.002)


def covered(truth_mm: Array, lines: Iterable[Array], reach: float = SCRATCH_REACH_MM) -> float:
    """Share of a true line that lies within reach of any of the lines found."""
    points = _dense(truth_mm)
    near = np.zeros(len(points), bool)
    for line in lines:
        near |= _distance(points, line) <= reach
    return float(near.mean())


def _dense(line: Array, step: float = 0.05) -> Array:
    s = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))))
    at = np.linspace(0, s[-1], max(2, round(s[-1] / step)))
    return np.column_stack((np.interp(at, s, line[:, 0]), np.interp(at, s, line[:, 1])))


def _distance(points: Array, line: Array) -> Array:
    """Distance of points (n, 2) from a polyline (m, 2)."""
    a, b = line[:-1], line[1:]
    d = b - a
    t = ((points[:, None] - a) * d).sum(-1) / np.maximum((d * d).sum(-1), 1e-12)
    nearest = a + np.clip(t, 0, 1)[..., None] * d
    return np.asarray(np.hypot(*(points[:, None] - nearest).transpose(2, 0, 1)).min(axis=1))


def score_piece(piece: dict, findings: Iterable[Scratch | Pit | Speck], scored: Polygon) -> PieceScore:
    """Match findings with a piece's truth."""
    lines = [(f, np.array(f.points_mm)) for f in findings if isinstance(f, Scratch)]
    pits = [f for f in findings if isinstance(f, Pit)]
    out = PieceScore(piece["kind"])
    out.largest_snr = max([f.snr for f, _ in lines] + [f.snr for f in pits], default=0.0)
    explained = set()
    for true in piece["scratches"]:
        mm = np.array(true["points_mm"])
        mine = [i for i, (_, p) in enumerate(lines) if covered(p, [mm]) >= 0.5]
        explained.update(mine)
        if not true["scored"]:
            continue
        share = covered(mm, [lines[i][1] for i in range(len(lines))])
        inside = LineString(mm).intersection(scored).length
        entry = {**true, "found": share >= 0.5, "share": share, "parts": len(mine), "inside_mm": inside}
        if mine:
            longest = max(mine, key=lambda i: lines[i][0].length_mm)
            entry["reported"] = lines[longest][0]
            entry["width_error_mm"] = lines[longest][0].width_mm - true["width_mm"]
            entry["length_error_mm"] = lines[longest][0].length_mm - inside
            ends = lines[longest][1][[0, -1]]
            both = [np.hypot(*(ends - e).T).min() for e in (mm[0], mm[-1])]
            entry["end_error_mm"] = both
        entry["snr_found"] = max((lines[i][0].snr for i in mine), default=0.0)
        out.scratches.append(entry)
    out.false_scratches = [f for i, (f, _) in enumerate(lines) if i not in explained]
    matched = set()
    for true in piece["pits"]:
        reach = max(PIT_REACH_MM, true["diameter_mm"] / 2)
        near = [i for i, f in enumerate(pits) if math.dist(f.center_mm, true["center_mm"]) <= reach]
        matched.update(near)
        if not true["scored"]:
            continue
        entry = {**true, "found": bool(near)}
        if near:
            best = max(near, key=lambda i: pits[i].snr)
            entry.update(snr_found=pits[best].snr, diameter_error_mm=pits[best].diameter_mm - true["diameter_mm"])
        entry.setdefault("snr_found", 0.0)
        out.pits.append(entry)
    out.false_pits = [f for i, f in enumerate(pits) if i not in matched]
    for d in piece["disturbers"]:
        out.disturbers.append((d["kind"], _hit(d, out)))
    out.disturbers += (
        [("lines", any(_along(f, piece) for f in out.false_scratches))] if piece["finish"]["strong_lines"] else []
    )
    return out


def _hit(disturber: dict, score: PieceScore) -> bool:
    at = np.array(disturber["at_mm"])
    reach = max(disturber.get("radius_mm", 0) * 1.3, max(disturber.get("size_mm", [0])) * 0.6, 0.3)
    spots = [np.array([f.center_mm]) for f in score.false_pits] + [np.array(f.points_mm) for f in score.false_scratches]
    return any(np.hypot(*(p.mean(axis=0) - at)) <= reach for p in spots)


def _along(scratch: Scratch, piece: dict) -> bool:
    p = np.array(scratch.points_mm)
    angle = math.degrees(math.atan2(*(p[-1] - p[0])[::-1]))
    return abs((angle - piece["finish"]["direction_deg"] + 90) % 180 - 90) < 12


def table(scores: list[PieceScore]) -> dict[str, float]:
    """The figures asked for, over all pieces."""
    scratches = [s for p in scores for s in p.scratches]
    pits = [s for p in scores for s in p.pits]
    thin = [s for s in scratches if s["strength"] < 0.2 or s["width_mm"] < 0.1]
    small = [s for s in pits if s["diameter_mm"] < 0.22]
    clean = [p for p in scores if not any(s["scored"] for s in p.scratches + p.pits)]
    defective = [p for p in scores if p not in clean]
    false = [len(p.false_scratches) + len(p.false_pits) for p in scores]
    pairs = [(d.largest_snr > c.largest_snr) + 0.5 * (d.largest_snr == c.largest_snr) for d in defective for c in clean]
    lengths = [abs(s["length_error_mm"]) for s in scratches if "length_error_mm" in s]
    diameters = [abs(s["diameter_error_mm"]) for s in pits if "diameter_error_mm" in s]
    ends = [e for s in scratches if "end_error_mm" in s for e in s["end_error_mm"]]
    disturbers = [hit for p in scores for _, hit in p.disturbers]

    def mean(values: list) -> float:
        return float(np.mean(values)) if len(values) else math.nan

    return {
        "scratches": len(scratches),
        "pits": len(pits),
        "scratches_found": mean([s["found"] for s in scratches]),
        "thin_found": mean([s["found"] for s in thin]),
        "pits_found": mean([s["found"] for s in pits]),
        "small_found": mean([s["found"] for s in small]),
        "false_a_piece": mean(false),
        "false_clean": mean([len(p.false_scratches) + len(p.false_pits) for p in clean]),
        "auc": mean(pairs),
        "parts": mean([s["parts"] for s in scratches if s["parts"]]),
        "length_error_mm": float(np.median(lengths)) if lengths else math.nan,
        "width_error_mm": _median([abs(s["width_error_mm"]) for s in scratches if "width_error_mm" in s]),
        "diameter_error_mm": float(np.median(diameters)) if diameters else math.nan,
        "end_error_90_mm": float(np.quantile(ends, 0.9)) if ends else math.nan,
        "disturbers_counted": mean(disturbers),
    }


def _median(values: list[float]) -> float:
    return float(np.median(values)) if values else math.nan


def found_at(scores: list[PieceScore], kind: str, false_a_piece: float = 0.1) -> tuple[float, float]:
    """Share found where the least chance leaves so many false findings of the kind a piece, and that chance."""
    false = sorted(
        (f.snr for p in scores for f in (p.false_scratches if kind == "scratch" else p.false_pits)), reverse=True
    )
    true = [s for p in scores for s in (p.scratches if kind == "scratch" else p.pits)]
    allowed = int(false_a_piece * len(scores))
    threshold = false[allowed] if allowed < len(false) else 0.0
    return float(np.mean([s["found"] and s["snr_found"] > threshold for s in true])), threshold


def told(score: FaceScore, swept: bool) -> list[Scratch | Pit]:
    """What is likelier a mark than none; or all that is kept, its chance in place of its snr, to be swept."""
    marks = [one for one in score.findings if isinstance(one, Scratch | Pit)]
    if swept:
        return [replace(one, snr=one.probability or 0.0) for one in marks]
    return [one for one in marks if one.likely]


def score_trays(folder: Path, swept: bool) -> list[PieceScore]:
    """Every piece of a family of trays at its true pose."""
    part, station = read_part(folder / "part.toml"), read_station(folder / "station.toml")
    assert part.surface is not None
    shape = scored_shape(part, part.surface)
    assert isinstance(shape, Polygon)
    out = []
    for tray in sorted(truth.parent for truth in folder.glob("*/truth.json")):
        pictures = read_frames(read_shot(tray), station)
        for number, piece in enumerate(truth_of(tray)):
            found = score_face(view_of(pictures, part, piece, float(station.homography[0, 0])), shipped_judge())
            out.append(score_piece(piece, told(found, swept), shape))
            out[-1].name = f"{tray.name}/{number}"
    return out


def print_figures(name: str, scores: list[PieceScore], swept: bool) -> None:
    """The figures of a pool of pieces; where thresholds are swept, also what is found at 0.1 false of each kind."""
    print(f"{name}: " + " ".join(f"{key} {value:.3g}" for key, value in table(scores).items()))
    for kind in ("scratch", "pit") if swept else ():
        found, threshold = found_at(scores, kind)
        print(f"    {kind} at 0.1 false a piece: {found:.2f}, chance over {threshold:.2f}")


def _print_marks(scores: list[PieceScore]) -> None:
    """A line a piece: the truth's snr of each mark, the finding's beside it, and the strongest false findings."""
    for p in scores:
        for kind, true, false in (("S", p.scratches, p.false_scratches), ("P", p.pits, p.false_pits)):
            marks = " ".join(f"{'' if t['found'] else '!'}{t['snr']:.0f}[{t['snr_found']:.1f}]" for t in true)
            none = " ".join(f"{f.snr:.1f}" for f in sorted(false, key=lambda f: -f.snr)[:6])
            print(f"    {p.name} {kind} {marks} false {none}")


def main() -> None:
    """Score all families of trays and print their figures."""
    import cv2

    from tests.truth.own_faces import FACE_FAMILIES, render_family

    cv2.setNumThreads(1)
    ask = argparse.ArgumentParser()
    ask.add_argument("shared", type=Path)
    ask.add_argument("own", type=Path, nargs="?")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--trays", type=int, default=2)
    ask.add_argument("--misses", action="store_true")
    asked = ask.parse_args()
    plain, faint = [asked.shared / "polished"], [asked.shared / "polished-faint"]
    for family in FACE_FAMILIES if asked.own else ():
        folders = render_family(asked.own, family, asked.trays, asked.seed)
        plain.append(folders[0])
        faint.append(folders[1])
    for title, families in (("plain", plain), ("faint", faint)):
        pools = {folder.name: score_trays(folder, title == "faint") for folder in families}
        if asked.own:
            pools[f"all own, {title}"] = [p for folder in families[1:] for p in pools[folder.name]]
        for name, scores in pools.items():
            print_figures(name, scores, swept=title == "faint")
            if asked.misses and not name.startswith("all"):
                _print_marks(scores)


if __name__ == "__main__":
    main()
