"""Limits that hold where a works sets none: what was not seen, and what no drawing has, never passes in silence."""

from collections.abc import Iterator, Mapping

from vision.decide.measures import MEASURES
from vision.records import JudgedPiece, Limit, Limits, Value

_DEFAULTS = tuple(
    Limit(one.name, one.default.severity, None, one.default.min, one.default.max)
    for one in MEASURES.values()
    if one.default is not None
)


def defaults_of(limits: Limits) -> Iterator[tuple[Limit, frozenset[str]]]:
    """Each default that these limits leave in force, and the zones that have a limit of their own on its measure.

    Defaults for the face hold only where the limits name a measure of the face.

    Parameters
    ----------
    limits
        The limits that judge.

    Yields
    ------
    tuple[Limit, frozenset[str]]
        Defaults one by one, each with names of zones.
    """
    on_face = any(_on_face(limit) for limit in limits.limits)
    for default in _DEFAULTS:
        if _on_face(default) and not on_face:
            continue
        own = [limit.zone for limit in limits.limits if limit.measure == default.measure]
        if None not in own:
            yield default, frozenset(zone for zone in own if zone is not None)


def default_limits(limits: Limits, measures: Mapping[str, Value]) -> Iterator[Limit]:
    """The default limits that hold for a piece: on what was measured of it, zone by zone.

    A measure that the piece has no key for did not exist when it was filed: no default is asked of it.
    """
    for default, own in defaults_of(limits):
        if default.measure not in measures:
            continue
        value = measures[default.measure]
        if not isinstance(value, Mapping):
            yield default
            continue
        for zone in value:
            if zone not in own:
                yield Limit(default.measure, default.severity, zone, default.min, default.max)


def is_default(measure: str, low: float | None, high: float | None) -> bool:
    """Whether a limit on a measure is the one that holds where a works sets none.

    Parameters
    ----------
    measure
        Its name.
    low
        Least value allowed, in the measure's unit; None: no such bound.
    high
        Largest value allowed; None: no such bound.

    Returns
    -------
    bool
        True where a default of that measure has just these bounds.
    """
    return any((one.measure, one.min, one.max) == (measure, low, high) for one in _DEFAULTS)


def not_measured_then(judged: JudgedPiece, limits: Limits) -> tuple[str, ...]:
    """Measures that a default asks for and that did not exist when this piece was filed; none for one not placed.

    Parameters
    ----------
    judged
        A piece as filed.
    limits
        The limits that judge.

    Returns
    -------
    tuple[str, ...]
        Names of measures.
    """
    if judged.pose is None:
        return ()
    return tuple(default.measure for default, _ in defaults_of(limits) if default.measure not in judged.measures)


def _on_face(limit: Limit) -> bool:
    return MEASURES[limit.measure].on == "face"
