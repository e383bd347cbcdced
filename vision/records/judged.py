"""What was judged: verdicts with their reasons, and a whole tray's result."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from vision.records.inputs import Severity
from vision.records.measured import Finding, Pose, TrayFinding, Value

Verdict = Literal["pass", "review", "reject"]


@dataclass(frozen=True, slots=True)
class Reason:
    """A limit that was not passed; `value` None where the limited measure is missing.

    `outcome` is `reject` beyond the limit by more than the guard band, else `review`.
    """

    measure: str
    zone: str | None
    value: float | None
    uncertainty: float | None
    min: float | None
    max: float | None
    severity: Severity
    outcome: Literal["review", "reject"]


@dataclass(frozen=True, slots=True)
class JudgedPiece:
    """A piece with its verdict, all its measures (counts of surface findings included) and why."""

    piece: int
    verdict: Verdict
    reasons: tuple[Reason, ...]
    fault: str | None
    pose: Pose | None
    measures: Mapping[str, Value]
    uncertainties: Mapping[str, Value]
    findings: tuple[Finding, ...]
    counted: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class TrayResult:
    """What `result.json` holds; `process` are the shot's own values (die, strokes, ...), by which a lot is sorted."""

    software: str
    tray: str
    lot: str | None
    part: str
    station: str
    taken_at: str | None
    limits_revision: int
    pieces: tuple[JudgedPiece, ...]
    tray_findings: tuple[TrayFinding, ...]
    process: Mapping[str, str | float] = field(default_factory=dict)
