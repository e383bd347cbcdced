"""The files of the check: a reference piece's known values (TOML), and the history of checks (JSON, one a line)."""

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from vision.calibrate import CheckVerdict, DriftOfMeasure
from vision.errors import Unusable
from vision.formats.atomic_write import not_written
from vision.formats.bounded import read_text
from vision.formats.strict import FormatOne, Strict, Text, as_json, as_time, read_toml

_NotNegative = Annotated[float, Field(ge=0.0)]


class _Known(Strict):
    measure: Text
    zone: Text | None = None
    value: float
    uncertainty: _NotNegative
    repeatability: _NotNegative

    @model_validator(mode="after")
    def _some_doubt(self) -> Self:
        if self.uncertainty == 0.0 and self.repeatability == 0.0:
            raise ValueError(
                "uncertainty or repeatability above 0 expected: without them any value would stop the station"
            )
        return self


class _ReferenceFile(Strict):
    format: FormatOne
    reference: Text
    part: Text
    value: Annotated[list[_Known], Field(min_length=1, max_length=1000)]


@dataclass(frozen=True, slots=True)
class KnownValue:
    """A certified measure of the reference piece.

    `name` is the measure, with `.zone` behind it where it is taken per zone; `uncertainty` the certificate's and
    `repeatability` that of one laying and measurement, both standard (k = 1).
    """

    name: str
    value: float
    uncertainty: float
    repeatability: float


@dataclass(frozen=True, slots=True)
class Reference:
    """A reference piece of one part."""

    reference: str
    part: str
    values: tuple[KnownValue, ...]


@dataclass(frozen=True, slots=True)
class Check:
    """One check as the history keeps it; `calibration` is the digest of the station file it was made with.

    `drifts` hold each value against its known one and the limits of that day; older histories have none.
    """

    station: str
    calibration: str
    reference: str
    checked_at: str
    verdict: CheckVerdict
    reasons: tuple[str, ...]
    values: dict[str, float | None]
    drifts: tuple[DriftOfMeasure, ...] = ()


class _DriftLine(Strict):
    measure: Text
    value: float
    deviation: float
    single_limit: float
    weighted_mean: float
    mean_limit: float


class _CheckLine(Strict):
    format: FormatOne
    station: Text
    calibration: Text
    reference: Text
    checked_at: Annotated[Text, AfterValidator(as_time)]
    verdict: Literal["pass", "stop"]
    reasons: list[str]
    values: dict[str, float | None]
    drifts: list[_DriftLine] = Field(default_factory=list)


def read_reference(path: Path) -> Reference:
    """Read a reference piece's file.

    Parameters
    ----------
    path
        The reference piece's file.

    Returns
    -------
    Reference
        Its measures as they are known, with their uncertainties.

    Raises
    ------
    Unusable
        Naming the key at fault.
    """
    table = read_toml(path, _ReferenceFile)
    values = tuple(
        KnownValue(
            f"{known.measure}.{known.zone}" if known.zone else known.measure,
            known.value,
            known.uncertainty,
            known.repeatability,
        )
        for known in table.value
    )
    names = [value.name for value in values]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice:
        raise Unusable(path, "value", f"{twice} once", "given twice")
    return Reference(table.reference, table.part, values)


def read_checks(path: Path) -> tuple[Check, ...]:
    """All checks of a history, oldest first; none where there is no file yet.

    Parameters
    ----------
    path
        The history, a line a check.

    Returns
    -------
    tuple[Check, ...]
        The checks, oldest first.

    Raises
    ------
    Unusable
        Naming the line at fault.
    """
    if not path.exists():
        return ()
    checks = []
    for number, line in enumerate(read_text(path).splitlines(), 1):
        try:
            checks.append(_as_check(as_json(path, line, _CheckLine)))
        except Unusable:
            raise Unusable(
                path, f"line {number}", "a check as `brightbowl check` writes it; take the line out"
            ) from None
    return tuple(checks)


def check_record(content: Mapping[str, Any]) -> Check:
    """A check from its fields as JSON holds them.

    Parameters
    ----------
    content
        Fields by name, as a line of the history holds them.

    Returns
    -------
    Check
        The check.
    """
    return _as_check(_CheckLine.model_validate_json(json.dumps({"format": 1, **content})))


def _as_check(line: _CheckLine) -> Check:
    return Check(
        line.station,
        line.calibration,
        line.reference,
        line.checked_at,
        line.verdict,
        tuple(line.reasons),
        line.values,
        tuple(DriftOfMeasure(**drift.model_dump()) for drift in line.drifts),
    )


def append_check(path: Path, check: Check) -> None:
    """Add one line to the history; what stands in it is never changed.

    Parameters
    ----------
    path
        The history; it is begun where there is none.
    check
        What was found.

    Raises
    ------
    Unusable
        Where it can't be written.
    """
    line: dict[str, Any] = {"format": 1, **asdict(check)}
    try:
        with path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line, ensure_ascii=False) + "\n")
            file.flush()
            os.fsync(file.fileno())
    except OSError as fault:
        raise not_written(path, fault) from None


def of_calibration(checks: Sequence[Check], station: str, calibration: str, reference: str) -> tuple[Check, ...]:
    """The checks that one chart holds: of this station, since this calibration, with this piece.

    Parameters
    ----------
    checks
        Checks of stations, oldest first.
    station
        Its name.
    calibration
        Digest of the station file that the checks were made with.
    reference
        Name of the reference piece.

    Returns
    -------
    tuple[Check, ...]
        Those checks, oldest first.
    """
    return tuple(
        check
        for check in checks
        if (check.station, check.calibration, check.reference) == (station, calibration, reference)
    )


def last_good(checks: Sequence[Check], station: str) -> str | None:
    """When the station last passed: trays taken later are to be judged again after a stop. None where it never did.

    Parameters
    ----------
    checks
        Checks of stations, oldest first.
    station
        Its name.

    Returns
    -------
    str | None
        Time of that check, ISO 8601.
    """
    return max(
        (check.checked_at for check in checks if check.station == station and check.verdict == "pass"), default=None
    )
