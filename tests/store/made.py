"""Results, parts and stations made by hand, for stores to hold."""

import math
import random
from collections.abc import Sequence

import numpy as np

from app.store.database.connection import Store
from app.store.lots import decisions
from app.store.results.filing import ToFile
from vision.formats.profiles import Profile
from vision.records.inputs import CountRule, Limit, Limits, Part, Station, Surface, Zone
from vision.records.judged import JudgedPiece, Reason, TrayResult, Verdict
from vision.records.measured import BendFinding, EdgeFinding, Finding, Pit, Pose, Scratch, TrayFinding

VERDICTS: tuple[Verdict, ...] = ("pass", "review", "reject")


def outline() -> np.ndarray:
    """Something like a teaspoon, 135 mm long: an oval bowl and a straight handle, counter-clockwise."""
    angle = np.linspace(0.25, 2 * math.pi - 0.25, 60)
    bowl = np.column_stack([23.0 + 23.0 * np.cos(angle), 15.0 * np.sin(angle)])
    handle = np.array([[135.0, -4.0], [135.0, 4.0]])
    return np.vstack([bowl, handle])


PART = Part(
    part="TS-135",
    name="Teaspoon 135",
    outline=outline(),
    holes=(),
    zones=(Zone("bowl", (0.0, 46.0), datum=True), Zone("handle", (46.0, 135.0), bend=True)),
    surface=Surface((0.0, 44.0), 1.5),
)
STATION = Station("ST-1", np.diag([0.05, -0.05, 1.0]), None, None, 0.01, 0.0002)
LIMITS = Limits(
    part="TS-135",
    revision=3,
    status="released",
    coverage=0.95,
    limits=(
        Limit("outline_out_mm", "major", max=0.15),
        Limit("bend_deg", "minor", min=-0.5, max=0.5),
        Limit("scratch_longest_mm", "minor", max=2.0),
    ),
    count=CountRule(scratch_min_length_mm=0.5, scratch_min_snr=6.0),
)


def reject_reason(value: float = 0.31) -> Reason:
    """A bowl that stands out too far."""
    return Reason("outline_out_mm", "bowl", value, 0.011, None, 0.15, "major", "reject", 0.0, (0,), ((12.1, 13.0),))


def review_reason(value: float = 2.05) -> Reason:
    """A scratch about as long as may be."""
    return Reason("scratch_longest_mm", None, value, 0.1, None, 2.0, "minor", "review", 0.31, (2,))


def made_piece(number: int, verdict: Verdict = "reject", value: float = 0.31, y_px: float = 400.0) -> JudgedPiece:
    """A piece with one finding of every sort that matters."""
    reasons = {"pass": (), "review": (review_reason(),), "reject": (reject_reason(value), review_reason())}[verdict]
    findings: tuple[Finding, ...] = (
        EdgeFinding("burr", "bowl", (612.0, y_px - 100.0), (12.1, 13.0), 0.31, value, 1.9),
        BendFinding("handle", 0.12),
        Scratch(((700.1, 350.2), (742.8, 371.9)), ((16.0, 3.1), (18.3, 2.0)), 2.05, 0.11, 9.3),
        Pit((655.0, 402.5), (14.0, -1.2), 0.32, 12.0),
    )
    return JudgedPiece(
        piece=number,
        verdict=verdict,
        reasons=reasons,
        fault=None,
        pose=Pose((1490.2, y_px), 3.2, 0.009),
        measures={
            "outline_out_mm": {"bowl": value, "handle": 0.02},
            "length_mm": 135.02,
            "bend_deg": 0.12,
            "scratch_count": 1.0,
            "scratch_longest_mm": 2.05,
            "scored_area_cm2": 8.41,
        },
        uncertainties={
            "outline_out_mm": {"bowl": 0.011, "handle": 0.011},
            "length_mm": 0.03,
            "bend_deg": 0.02,
            "scratch_count": 0.2,
            "scratch_longest_mm": 0.1,
            "scored_area_cm2": None,
        },
        findings=findings,
        counted=(False, False, True, False),
        places={"outline_out_mm": {"bowl": ((12.1, 13.0),)}},
    )


def lost_piece(number: int) -> JudgedPiece:
    """A piece that could not be measured."""
    return JudgedPiece(number, "review", (), "touching", None, {}, {}, (), ())


def made_tray(
    tray: str = "T-000123",
    pieces: Sequence[JudgedPiece] | None = None,
    lot: str | None = "L-2611-07",
    taken_at: str = "2026-11-02T06:00:00+00:00",
    die: str = "D4",
) -> TrayResult:
    """A tray of three pieces: one that passes, one to review, one to reject."""
    made = tuple(made_piece(k + 1, verdict) for k, verdict in enumerate(VERDICTS)) if pieces is None else tuple(pieces)
    said = (TrayFinding("foreign", (1500.0, 900.0), "something that is no piece"), TrayFinding("focus", None, "soft"))
    return TrayResult(
        "brightbowl 0.1.0", tray, lot, "TS-135", "ST-1", taken_at, 3, made, said, {"die": die, "strokes": 182400.0}
    )


def to_file(result: TrayResult | None = None) -> ToFile:
    """A tray with all that goes with it."""
    return ToFile(made_tray() if result is None else result, (), PART, STATION, LIMITS)


def decide(store: Store, decision: decisions.Decision) -> decisions.Decision:
    """File a decision, whatever the lot is like; as it is filed."""
    with store.write() as connection:
        decisions.decide(connection, decision)
    known = decisions.decisions(store, decision.lot, decision.part)
    return next(one for one in known if one.uid == decision.uid)


def made_profile(seed: int) -> Profile:
    """A wavy profile, a stretch of it not seen."""
    chance = random.Random(seed)
    s_mm = np.arange(0.0, 300.0, 0.25)
    deviation = 0.05 * np.sin(s_mm / 7.0 + chance.random())
    deviation[40:80] = np.nan
    return Profile(s_mm, deviation)
