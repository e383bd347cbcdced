"""A station's known bias on a part, taken out of what was measured: by a revision that says who asked for it and why.

What a check with a reference piece leaves is shown, never silently taken out. Where a person takes it out, a measure
is less by what the station measures too much of it, and its uncertainty grows by that figure's own. The outline itself,
its profile and its findings stay as they were seen.
"""

from collections.abc import Mapping
from dataclasses import replace
from math import hypot

from vision.decide.measures import MEASURES
from vision.records import CorrectedValue, Correction, MeasuredPiece, Station, Value

CORRECTABLE = {
    name: one.per_zone
    for name, one in MEASURES.items()
    if one.on == "outline" and one.unit in ("mm", "deg") and not one.says_seen
}
"""Measures that can be corrected, and whether one zone at a time."""


def correction_in_force(station: Station, part: str) -> Correction | None:
    """The newest revision for a part.

    Parameters
    ----------
    station
        With all revisions of all parts.
    part
        Its name.

    Returns
    -------
    Correction | None
        None where there is none, or the newest withdraws the one before.
    """
    newest = [one for one in station.corrections if one.part == part][-1:]
    return newest[0] if newest and newest[0].values else None


def corrected(piece: MeasuredPiece, correction: Correction | None) -> MeasuredPiece:
    """A piece with a station's bias taken out of its measures; what was not measured stays so.

    Parameters
    ----------
    piece
        As measured.
    correction
        In force; None: nothing is taken out.

    Returns
    -------
    MeasuredPiece
        Its measures less what the station measures too much, each uncertainty with that figure's own.
    """
    if correction is None:
        return piece
    measures, uncertainties = dict(piece.measures), dict(piece.uncertainties)
    components = {name: dict(by_zone) for name, by_zone in piece.uncertainty_components.items()}
    for one in correction.values:
        value, u = _at(measures, one), _at(uncertainties, one)
        if value is None or u is None:
            continue
        measures[one.measure] = _put(measures, one, max(value - one.off, MEASURES[one.measure].least))
        uncertainties[one.measure] = _put(uncertainties, one, hypot(u, one.u))
        known = components.get(one.measure, {})
        if (zone := one.zone or "") in known:
            known[zone] = replace(known[zone], correction=one.u)
    return replace(piece, measures=measures, uncertainties=uncertainties, uncertainty_components=components)


def _at(values: Mapping[str, Value], one: CorrectedValue) -> float | None:
    value = values.get(one.measure)
    return value.get(one.zone or "") if isinstance(value, Mapping) else value


def _put(values: Mapping[str, Value], one: CorrectedValue, new: float) -> Value:
    value = values[one.measure]
    return {**value, one.zone or "": new} if isinstance(value, Mapping) else new
