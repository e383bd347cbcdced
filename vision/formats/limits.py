"""limits.toml: one revision of a part's pass limits."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from vision.decide import MEASURES
from vision.errors import Unusable
from vision.formats.atomic_write import write_atomic
from vision.formats.strict import FormatOne, Length, Name, Strict, Text, read_toml
from vision.records import CountRule, Limit, Limits, LimitStatus, MarkClass, MarkRate, Part, Reference, Severity

_AtLeastZero = Annotated[float, Field(ge=0.0)]


class _Guard(Strict):
    # Below one half a guard band would be negative: it would let through what lies beyond a limit.
    coverage: Annotated[float, Field(ge=0.5, lt=1.0)]


class _Count(Strict):
    scratch_min_length_mm: _AtLeastZero = 0.0
    scratch_min_snr: _AtLeastZero = 0.0
    pit_min_diameter_mm: _AtLeastZero = 0.0
    pit_min_snr: _AtLeastZero = 0.0
    least_probability: Annotated[float, Field(ge=0.02, le=1.0)] = 0.5


class _Class(Strict):
    kind: Literal["scratch", "pit"]
    size_mm: Annotated[float, Field(gt=0.0)]
    snr: Annotated[float, Field(gt=0.0)]
    per_cm2: _AtLeastZero


class _Rate(Strict):
    source: Text
    mark: Annotated[list[_Class], Field(min_length=1, max_length=1000)]


_Above = Annotated[float, Field(gt=0.0)]
_USUAL = Reference()


class _Reference(Strict):
    scratch_width_mm: _Above = _USUAL.scratch_width_mm
    scratch_length_mm: _Above = _USUAL.scratch_length_mm
    scratch_contrast: _Above = _USUAL.scratch_contrast
    pit_diameter_mm: _Above = _USUAL.pit_diameter_mm
    pit_contrast: _Above = _USUAL.pit_contrast
    found: Annotated[float, Field(gt=0.0, lt=1.0)] = _USUAL.found


class _Pictures(Strict):
    drawn_from_mm: Length


class _LimitTable(Strict):
    measure: str
    zone: Text | None = None
    min: float | None = None
    max: float | None = None
    severity: Severity = Field(alias="class")

    @model_validator(mode="after")
    def _bounds_in_order(self) -> Self:
        if self.min is None and self.max is None:
            raise ValueError(f"max, min or both expected for {self.measure}")
        if self.min is not None and self.max is not None and self.min > self.max:
            raise ValueError(f"min of {self.measure} at most its max expected, found {self.min:g} above {self.max:g}")
        return self


class _LimitsFile(Strict):
    format: FormatOne
    part: Name
    revision: Annotated[int, Field(ge=1)]
    status: LimitStatus
    guard: _Guard
    count: _Count = _Count()
    rate: _Rate | None = None
    reference: _Reference = _Reference()
    pictures: _Pictures | None = None
    limit: list[_LimitTable] = Field(default_factory=list, max_length=1000)


def read_limits(path: Path, part: Part) -> Limits:
    """Read the limits of a part.

    Parameters
    ----------
    path
        `limits.toml`.
    part
        The drawing with its zones and scored area.

    Returns
    -------
    Limits
        The limits, with their counting rules and the coverage of the guard bands.

    Raises
    ------
    Unusable
        Naming the key at fault; also for limits of another part, an unknown measure or zone, or one limit given twice.

    Examples
    --------
    >>> from vision.formats import read_part
    >>> limits = read_limits(Path("demo/limits.toml"), read_part(Path("demo/part.toml")))
    >>> limits.revision, limits.coverage
    (1, 0.95)
    """
    table = read_toml(path, _LimitsFile)
    if table.part != part.part:
        raise Unusable(path, "part", f"limits for part {part.part!r} expected", f"limits for {table.part!r}")
    limits = tuple(Limit(row.measure, row.severity, row.zone, row.min, row.max) for row in table.limit)
    seen: dict[tuple[str, str | None], int] = {}
    for number, limit in enumerate(limits, start=1):
        _check_names(path, f"limit[{number}]", limit, [zone.name for zone in part.zones])
        first = seen.setdefault((limit.measure, limit.zone), number)
        if first != number:
            expected = "one limit for a measure and zone expected; join min and max in one"
            raise Unusable(path, f"limit[{number}].measure", expected, f"{named(limit)} again, first in limit[{first}]")
    count = CountRule(**table.count.model_dump())
    reference = Reference(**table.reference.model_dump())
    rate = None
    if table.rate is not None:
        rate = MarkRate(table.rate.source, tuple(MarkClass(**dict(row)) for row in table.rate.mark))
    drawn = table.pictures.drawn_from_mm if table.pictures else None
    return Limits(table.part, table.revision, table.status, table.guard.coverage, limits, count, rate, reference, drawn)


def _check_names(path: Path, key: str, limit: Limit, zones: list[str]) -> None:
    measure = MEASURES.get(limit.measure)
    if measure is None:
        raise Unusable(path, f"{key}.measure", f"one of {', '.join(MEASURES)} expected", repr(limit.measure))
    if limit.zone is not None and not measure.per_zone:
        raise Unusable(
            path, f"{key}.zone", f"no zone expected, {limit.measure} is taken on the whole piece", limit.zone
        )
    if limit.zone is not None and limit.zone not in zones:
        raise Unusable(path, f"{key}.zone", f"a zone of the part expected: {', '.join(zones)}", repr(limit.zone))


def named(limit: Limit) -> str:
    """A limit's name, as the columns of pieces.csv have it: `outline_out_mm.bowl`."""
    return f"{limit.measure}.{limit.zone}" if limit.zone else limit.measure


def write_limits(limits: Limits, path: Path) -> None:
    """Write limits, whole or not at all; what `read_limits` reads back is equal.

    Parameters
    ----------
    limits
        The limits that judge.
    path
        `limits.toml`; an old file of this name is replaced.

    Raises
    ------
    Unusable
        Where they can't be written.
    """
    import tomlkit

    rule = limits.count
    table: dict[str, Any] = {
        "format": 1,
        "part": limits.part,
        "revision": limits.revision,
        "status": limits.status,
        "guard": {"coverage": limits.coverage},
    }
    if rule != CountRule():
        table["count"] = {
            "scratch_min_length_mm": rule.scratch_min_length_mm,
            "scratch_min_snr": rule.scratch_min_snr,
            "pit_min_diameter_mm": rule.pit_min_diameter_mm,
            "pit_min_snr": rule.pit_min_snr,
            "least_probability": rule.least_probability,
        }
    if limits.reference != Reference():
        table["reference"] = asdict(limits.reference)
    if limits.rate is not None:
        table["rate"] = {"source": limits.rate.source, "mark": [asdict(one) for one in limits.rate.classes]}
    if limits.drawn_from_mm is not None:
        table["pictures"] = {"drawn_from_mm": limits.drawn_from_mm}
    rows = [
        {"measure": limit.measure, "zone": limit.zone, "min": limit.min, "max": limit.max, "class": limit.severity}
        for limit in limits.limits
    ]
    if rows:
        table["limit"] = [{key: value for key, value in row.items() if value is not None} for row in rows]
    write_atomic(path, tomlkit.dumps(table))


def part_of_limits(path: Path) -> str:
    """The part that a file of limits is for.

    Parameters
    ----------
    path
        `limits.toml`.

    Returns
    -------
    str
        The part's name.

    Raises
    ------
    Unusable
        Naming the key at fault.
    """
    return read_toml(path, _LimitsFile).part
