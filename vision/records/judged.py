"""What was judged: verdicts with their reasons, and a whole tray's result."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from vision.records.corrections import Correction
from vision.records.face_marks import Pair
from vision.records.inputs import Severity
from vision.records.marks import FIRST_DETECTION, Detection, MarkRate
from vision.records.measured import Finding, Places, Pose, SeenMap, TrayFinding, Value

Verdict = Literal["pass", "review", "reject"]
LimitsStanding = Literal["in force", "released before roles", "released by nobody", "not in force", "draft"]
"""How the limits stood that judged: put into force by a person; released in a store of before that was asked; typed as
released in a works that lists nobody; other than those in force; a draft."""


@dataclass(frozen=True, slots=True)
class Reason:
    """A limit that was not passed; `value` None where the limited measure is missing.

    `outcome` is `reject` beyond the limit by more than the guard band, else `review`; `conformance` the chance that the
    quantity keeps the limit, None where the measure is missing or the result older than that figure. `findings`: which
    of the piece's findings it rests on, by index, the one that weighs most first; `place_mm`: where on the drawing its
    value was taken. Both are empty where nothing is known of it, as in older results.
    """

    measure: str
    zone: str | None
    value: float | None
    uncertainty: float | None
    min: float | None
    max: float | None
    severity: Severity
    outcome: Literal["review", "reject"]
    conformance: float | None = None
    findings: tuple[int, ...] = ()
    place_mm: tuple[Pair, ...] = ()


@dataclass(frozen=True, slots=True)
class JudgedPiece:
    """A piece with its verdict, all its measures (counts of surface findings included) and why.

    `detection`: the fits by which its marks are doubted, whenever it is judged again; `places`: where its measures were
    taken, empty in older results.
    """

    piece: int
    verdict: Verdict
    reasons: tuple[Reason, ...]
    fault: str | None
    pose: Pose | None
    measures: Mapping[str, Value]
    uncertainties: Mapping[str, Value]
    findings: tuple[Finding, ...]
    counted: tuple[bool, ...]
    detection: Detection = FIRST_DETECTION
    seen: SeenMap | None = None
    places: Places = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Digests:
    """What a tray was judged by and from, each as a short name for its content: equal content, equal name."""

    part: str
    station: str
    limits: str
    frames: str


@dataclass(frozen=True, slots=True)
class JudgeUsed:
    """Which judge of marks told marks from none: its revision and the digest of its file."""

    revision: int
    digest: str


@dataclass(frozen=True, slots=True)
class SettingsUsed:
    """The constants that decided what was measured, by room and idea (`values["outline"]["bumps"]["short_mm"]`).

    `digest`: a short name; equal settings, equal name.
    """

    digest: str
    values: Mapping[str, Mapping[str, Mapping[str, float | list[float]]]]


@dataclass(frozen=True, slots=True)
class TrayResult:
    """What `result.json` holds.

    `process` are the shot's own values (die, strokes, ...), by which a lot is sorted; `detection` are the fits
    by which its marks are doubted, `rate` the works' rate of marks by which it was judged; None where it names none.
    `limits_standing` is None where there was nothing to hold the limits against.
    `judged_at` (UTC) and `digests` are None in results of programs that did not write them; `retake` says that the shot
    takes the place of an earlier one of the same tray. `settings` are None in results of programs that wrote none.
    `correction`: the revision by which a station's bias was taken out of all measures, None where none was. `judge` is
    None in results of programs that had none.
    """

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
    detection: Detection | None = None
    rate: MarkRate | None = None
    limits_standing: LimitsStanding | None = None
    judged_at: str | None = None
    digests: Digests | None = None
    retake: bool = False
    settings: SettingsUsed | None = None
    correction: Correction | None = None
    judge: JudgeUsed | None = None
