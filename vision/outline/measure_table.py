"""All measures of one piece by name, and by zone where they are taken so, as the records have them."""

from collections.abc import Mapping

from vision.outline.zone_measures import Measured
from vision.records import Places, UncertaintyComponents, Value

Table = dict[str, dict[str, Measured] | Measured]


def values_of(table: Table) -> dict[str, Value]:
    """Values by measure."""
    return {name: _part_of(entry, "value") for name, entry in table.items()}


def uncertainties_of(table: Table) -> dict[str, Value]:
    """Standard uncertainties by measure."""
    return {name: _part_of(entry, "uncertainty") for name, entry in table.items()}


def components_of(table: Table) -> dict[str, Mapping[str, UncertaintyComponents]]:
    """What uncertainties are made of, by measure and zone ("" without one); what is missing left out."""
    by_zone = {
        name: {zone: cell.components for zone, cell in _cells(entry).items() if cell.components is not None}
        for name, entry in table.items()
    }
    return {name: zones for name, zones in by_zone.items() if zones}


def places_of(table: Table) -> Places:
    """Where measures were taken, by measure and zone ("" without one); what has no place left out."""
    by_zone = {
        name: {zone: cell.place for zone, cell in _cells(entry).items() if cell.place} for name, entry in table.items()
    }
    return {name: zones for name, zones in by_zone.items() if zones}


def _part_of(entry: dict[str, Measured] | Measured, which: str) -> Value:
    if isinstance(entry, dict):
        return {zone: getattr(cell, which) for zone, cell in entry.items()}
    value: float | None = getattr(entry, which)
    return value


def _cells(entry: dict[str, Measured] | Measured) -> dict[str, Measured]:
    return entry if isinstance(entry, dict) else {"": entry}
