"""The corrections of a station: revisions by which its bias on a part is taken out of what it measures."""

from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import AfterValidator, Field, model_validator

from vision.decide import CORRECTABLE
from vision.errors import Unusable
from vision.formats.strict import Millimetres, Name, NotNegative, Strict, Text, as_time
from vision.records import CorrectedValue, Correction, Part, Station


class _Value(Strict):
    measure: Text
    zone: Text | None = None
    off: Millimetres
    u: NotNegative

    @model_validator(mode="after")
    def _can_be_corrected(self) -> Self:
        if self.measure not in CORRECTABLE:
            raise ValueError(f"a measure of the outline expected ({', '.join(CORRECTABLE)}), found {self.measure}")
        if CORRECTABLE[self.measure] != (self.zone is not None):
            wants = "the zone of" if self.zone is None else "no zone with"
            raise ValueError(f"{wants} {self.measure} expected")
        return self


class CorrectionTable(Strict):
    """A revision as station.toml and result.json hold it."""

    part: Name
    revision: Annotated[int, Field(ge=1)]
    by: Annotated[Text, Field(min_length=1)]
    why: Annotated[Text, Field(min_length=1)]
    at: Annotated[str, AfterValidator(as_time)]
    value: Annotated[list[_Value], Field(max_length=1000)] = Field(default_factory=list)

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        names = [(one.measure, one.zone) for one in self.value]
        if twice := next((name for name in names if names.count(name) > 1), None):
            raise ValueError(f"{'.'.join(filter(None, twice))} once expected, found twice")
        return self

    def record(self) -> Correction:
        """The revision."""
        values = tuple(CorrectedValue(one.measure, one.zone, one.off, one.u) for one in self.value)
        return Correction(self.part, self.revision, self.by, self.why, self.at, values)


def in_order(tables: list[CorrectionTable]) -> list[CorrectionTable]:
    """Revisions that count up from 1, part by part."""
    last: dict[str, int] = {}
    for one in tables:
        if one.revision != last.get(one.part, 0) + 1:
            raise ValueError(f"revision {last.get(one.part, 0) + 1} of {one.part} expected next, found {one.revision}")
        last[one.part] = one.revision
    return tables


def correction_table(correction: Correction) -> dict[str, Any]:
    """A revision as the files hold it."""
    return {
        "part": correction.part,
        "revision": correction.revision,
        "by": correction.by,
        "why": correction.why,
        "at": correction.at,
        "value": [_value_table(one) for one in correction.values],
    }


def _value_table(one: CorrectedValue) -> dict[str, Any]:
    return {"measure": one.measure, **({"zone": one.zone} if one.zone else {}), "off": one.off, "u": one.u}


def check_corrections(part: Part, station: Station, station_file: Path) -> None:
    """Hold a station's corrections of a part against the part's zones.

    Parameters
    ----------
    part
        The drawing with its zones.
    station
        With its corrections.
    station_file
        What the error names.

    Raises
    ------
    Unusable
        A correction names a zone that the part has not.
    """
    zones = [zone.name for zone in part.zones]
    named = (one.zone for each in station.corrections if each.part == part.part for one in each.values)
    if strange := next((zone for zone in named if zone and zone not in zones), None):
        expected = f"a zone of {part.part} expected: {', '.join(zones)}"
        raise Unusable(station_file, "correction.value.zone", expected, strange)
