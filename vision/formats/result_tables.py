"""result.json as it lies in the file: its tables, each key with what it may be."""

from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from vision.formats.corrections import CorrectionTable
from vision.formats.findings import FindingTable
from vision.formats.seen_map import SeenTable
from vision.formats.shot import TrayName
from vision.formats.strict import FormatOne, Name, NotNegative, Process, Strict, Text, as_time
from vision.records import (
    Detection,
    LimitsStanding,
    MarkRate,
    Severity,
    TrayKind,
    Verdict,
)

_Pair = tuple[float, float]
_MOST_PIECES, _MOST_FINDINGS = 10_000, 2_000  # ours: some tens on a tray, at most 200 of a kind on a piece
_Uncertainties = dict[str, NotNegative | dict[str, NotNegative | None] | None] | None
_Values = dict[str, float | dict[str, float | None] | None] | None


class ReasonTable(Strict):
    measure: str
    zone: str | None = None
    value: float | None
    uncertainty: NotNegative | None
    min: float | None = None
    max: float | None = None
    severity: Severity = Field(alias="class")
    outcome: Literal["review", "reject"]
    conformance: Annotated[float, Field(ge=0.0, le=1.0)] | None = None
    findings: tuple[Annotated[int, Field(ge=0)], ...] = ()
    place_mm: tuple[_Pair, ...] = ()


class PoseTable(Strict):
    center_px: _Pair
    angle_deg: float
    fit_rms_mm: NotNegative


class PieceTable(Strict):
    piece: Annotated[int, Field(ge=1)]
    verdict: Verdict
    reasons: list[ReasonTable]
    fault: str | None
    pose: PoseTable | None
    measures: _Values
    uncertainties: _Uncertainties
    findings: Annotated[list[FindingTable], Field(max_length=_MOST_FINDINGS)]
    face_seen_map: SeenTable | None = None
    places: dict[str, dict[str, tuple[_Pair, ...]]] = Field(default_factory=dict)


class TrayFindingTable(Strict):
    kind: TrayKind
    center_px: _Pair | None
    detail: str


class DigestTable(Strict):
    part: str
    station: str
    limits: str
    frames: str


class JudgeTable(Strict):
    revision: Annotated[int, Field(ge=1)]
    digest: str


class SettingsTable(Strict):
    digest: str
    values: dict[str, dict[str, dict[str, float | list[float]]]]


class ResultFile(Strict):
    format: FormatOne
    software: Text
    tray: TrayName
    lot: Text | None
    part: Name
    station: Name
    taken_at: Annotated[str, AfterValidator(as_time)] | None
    judged_at: Annotated[str, AfterValidator(as_time)] | None = None
    retake: bool = False
    digests: DigestTable | None = None
    settings: SettingsTable | None = None
    correction: CorrectionTable | None = None
    judge: JudgeTable | None = None
    limits_revision: int
    limits_standing: LimitsStanding | None = None
    process: Process = Field(default_factory=dict)
    detection: Detection | None = None
    rate: MarkRate | None = None
    pieces: Annotated[list[PieceTable], Field(max_length=_MOST_PIECES)]
    tray_findings: list[TrayFindingTable]
