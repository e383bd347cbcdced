"""Sample lots for the tests of studies: results and people's verdicts, drawn by a given generator."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from app.studies.camera_and_people import PieceKey
from app.studies.columns import PieceColumns, columns_of
from vision.decide.verdicts import rejudge
from vision.formats.result import write_result
from vision.records.inputs import CountRule, Limit, Limits
from vision.records.judged import JudgedPiece, TrayResult
from vision.records.measured import Finding, Pit, Scratch

PIECES_A_TRAY = 4

LIMITS = Limits(
    "TS-135",
    3,
    "released",
    0.95,
    (
        Limit("outline_out_mm", "major", max=0.15),
        Limit("length_mm", "minor", min=134.9, max=135.1),
        Limit("scratch_longest_mm", "major", max=2.0),
    ),
    CountRule(scratch_min_snr=6.0),
)


@dataclass(frozen=True, slots=True)
class Sample:
    """Trays, and for each piece in reading order whether it is really bad."""

    trays: Sequence[TrayResult]
    bad: Sequence[bool]


def sample(rng: np.random.Generator, trays: int, bad_share: float = 0.3) -> Sample:
    """Draw a lot: bad pieces have a burr or a scratch, good ones little of either."""
    bad = (rng.random(trays * PIECES_A_TRAY) < bad_share).tolist()
    results = []
    for t in range(trays):
        pieces = [rejudge(piece(rng, k + 1, bad[t * PIECES_A_TRAY + k]), LIMITS) for k in range(PIECES_A_TRAY)]
        results.append(
            TrayResult("brightbowl 0.1.0", f"T-{t + 1:06d}", "L-2611-01", "TS-135", "ST-1", None, 3, tuple(pieces), ())
        )
    return Sample(results, bad)


def piece(rng: np.random.Generator, number: int, bad: bool) -> JudgedPiece:
    """Draw one piece."""
    burr = bad and rng.random() < 0.6
    scratched = bad and not burr
    bowl = float(rng.normal(0.30, 0.06)) if burr else float(rng.gamma(4.0, 0.015))
    findings: list[Finding] = [
        Scratch(
            ((0.0, 0.0), (9.0, 0.0)), ((0.0, 0.0), (0.5, 0.0)), float(rng.gamma(2.0, 0.3)), 0.1, float(rng.normal(5, 1))
        )
        for _ in range(rng.poisson(0.5))
    ]
    if scratched:
        findings.append(
            Scratch(
                ((0.0, 0.0), (9.0, 0.0)),
                ((0.0, 0.0), (5.0, 0.0)),
                float(rng.normal(6, 1.5)),
                0.1,
                float(rng.normal(14, 3)),
            )
        )
    findings += [Pit((5.0, 5.0), (1.0, 1.0), 0.2, float(rng.normal(7, 2))) for _ in range(rng.poisson(0.3))]
    return JudgedPiece(
        piece=number,
        verdict="review",
        reasons=(),
        fault=None,
        pose=None,
        measures={
            "outline_out_mm": {"bowl": bowl, "handle": float(rng.gamma(4.0, 0.01))},
            "length_mm": float(rng.normal(135.0, 0.02)),
            "scored_area_cm2": 8.4,
        },
        uncertainties={
            "outline_out_mm": {"bowl": 0.011, "handle": 0.011},
            "length_mm": 0.01,
            "scored_area_cm2": 0.1,
        },
        findings=tuple(findings),
        counted=(),
    )


def write_results(trays: Sequence[TrayResult], folder: Path) -> None:
    """Write each tray's result as `inspect` does."""
    for tray in trays:
        (folder / tray.tray).mkdir(parents=True)
        write_result(tray, folder / tray.tray / "result.json")


@dataclass(frozen=True, slots=True)
class Inspector:
    """How often an inspector errs on bad and on good pieces, and how many rounds they do."""

    name: str
    misses: float = 0.03
    alarms: float = 0.03
    rounds: int = 1


def verdict_lines(rng: np.random.Generator, lot: Sample, inspectors: Sequence[Inspector]) -> list[str]:
    """Lines of `verdicts.csv`, heading first."""
    lines = ["tray,piece,inspector,round,verdict,defects,note,given_at"]
    for inspector in inspectors:
        for repeat in range(1, inspector.rounds + 1):
            for i, bad in enumerate(lot.bad):
                tray, number = lot.trays[i // PIECES_A_TRAY].tray, i % PIECES_A_TRAY + 1
                says_bad = rng.random() < (1 - inspector.misses if bad else inspector.alarms)
                findings = lot.trays[i // PIECES_A_TRAY].pieces[number - 1].findings
                longest = max((f.length_mm for f in findings if isinstance(f, Scratch)), default=0.0)
                kind = ("scratch" if longest > 2.0 else "burr") if says_bad else ""
                lines.append(f"{tray},{number},{inspector.name},{repeat},{'reject' if says_bad else 'accept'},{kind},,")
    return lines


def columns_of_lengths(value: np.ndarray, u: float) -> PieceColumns:
    """Pieces of which only the length is known, twenty a tray."""
    return columns_of(
        (
            PieceKey(f"T-{k // 20}", k),
            JudgedPiece(k, "pass", (), None, None, {"length_mm": one}, {"length_mm": u}, (), ()),
        )
        for k, one in enumerate(value.tolist())
    )
