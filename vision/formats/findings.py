"""Findings as `result.json` holds them: one table a kind."""

from typing import Annotated, Any, Literal, get_args

from pydantic import Field

from vision.formats.strict import NotNegative, Strict
from vision.records import (
    BendFinding,
    EdgeFinding,
    EdgeKind,
    Finding,
    Mark,
    Opening,
    Pit,
    Scratch,
    Speck,
    Stain,
    Stray,
)

_Pair = tuple[float, float]
_Chance = Annotated[float, Field(ge=0.0, le=1.0)]


class _EdgeTable(Strict):
    kind: EdgeKind
    zone: str
    center_px: _Pair
    center_mm: _Pair
    height_mm: float
    deviation_mm: float
    extent_mm: NotNegative


class _BendTable(Strict):
    kind: Literal["bend"]
    zone: str
    bend_deg: float


class _ScratchTable(Strict):
    kind: Literal["scratch"]
    points_px: Annotated[tuple[_Pair, ...], Field(min_length=2)]
    points_mm: Annotated[tuple[_Pair, ...], Field(min_length=2)]
    length_mm: NotNegative
    width_mm: NotNegative
    snr: NotNegative
    probability: _Chance | None = None
    because: tuple[str, ...] = ()
    counted: bool


class _SpotTable(Strict):
    kind: Literal["pit", "speck"]
    center_px: _Pair
    center_mm: _Pair
    diameter_mm: NotNegative
    snr: NotNegative
    probability: _Chance | None = None
    because: tuple[str, ...] = ()
    counted: bool


class _OpeningTable(Strict):
    kind: Literal["opening"]
    center_px: _Pair
    center_mm: _Pair
    area_mm2: NotNegative
    width_mm: NotNegative
    length_mm: NotNegative


class _StrayTable(Strict):
    kind: Literal["stray"]
    zone: str
    center_px: _Pair
    center_mm: _Pair
    reach_mm: NotNegative
    extent_mm: NotNegative
    area_mm2: NotNegative
    joins: bool


class _PatchTable(Strict):
    kind: Literal["mark", "stain"]
    center_px: _Pair
    center_mm: _Pair
    area_mm2: NotNegative
    outline_mm: tuple[_Pair, ...]
    outline_px: tuple[_Pair, ...]


_AnyFindingTable = _EdgeTable | _BendTable | _ScratchTable | _SpotTable | _OpeningTable | _StrayTable | _PatchTable
FindingTable = Annotated[_AnyFindingTable, Field(discriminator="kind")]
_RECORDS: dict[str, type[Finding]] = {
    **dict.fromkeys(get_args(EdgeKind), EdgeFinding),
    "bend": BendFinding,
    "scratch": Scratch,
    "pit": Pit,
    "speck": Speck,
    "opening": Opening,
    "stray": Stray,
    "mark": Mark,
    "stain": Stain,
}


def finding_of(row: _AnyFindingTable) -> Finding:
    """The record of a finding's table."""
    made = _RECORDS[row.kind]
    # A kind that its record can't differ from is the record's own.
    fixed = ("counted",) if isinstance(row, _EdgeTable) else ("kind", "counted")
    return made(**{name: value for name, value in row if name not in fixed})


def finding_table(finding: Finding, counts: bool) -> dict[str, Any]:
    """A finding's fields by their names in the file, which are the record's own; `kind` first."""
    fields = {name: getattr(finding, name) for name in finding.__dataclass_fields__ if name != "kind"}
    if fields.get("probability", 0.0) is None:  # filed before it was told
        del fields["probability"], fields["because"]
    surface = {"counted": counts} if isinstance(finding, Scratch | Pit | Speck) else {}
    return {"kind": finding.kind, **fields, **surface}
