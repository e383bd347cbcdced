"""Limits that hold where a works sets none: what was not seen, and what no drawing has, never passes in silence."""

from collections.abc import Iterator, Mapping

from vision.records import JudgedPiece, Limit, Limits, Value

# Longest stretch of a zone's outline that may go unseen (mm), and light through the metal (mm2) that is no more than
# what noise and an edge's own roughness leave. Face: common practice, no source.
_OUTLINE = (
    Limit("outline_unseen_mm", "major", max=0.5),
    Limit("opening_area_mm2", "major", max=0.02),
)
_FACE = (
    Limit("face_seen", "major", min=0.8),
    Limit("mark_area_mm2", "major", max=1.0),
    Limit("stain_area_mm2", "minor", max=40.0),
)
# Defaults for the face hold only where the limits name one of these.
FACE_MEASURES = frozenset(
    (
        "scored_area_cm2",
        "scratch_count",
        "scratch_longest_mm",
        "scratch_density_mm_per_cm2",
        "pit_count",
        "pit_largest_mm",
        "pit_density_per_cm2",
        "pit_area_ppm",
        "buffing_line_level",
        *(limit.measure for limit in _FACE),
    )
)
# What was not seen proves nothing bad: a limit on one of these sends to review at worst.
SEEN_MEASURES = frozenset(("outline_seen", "outline_unseen_mm", "face_seen"))
# Measures that came later than the first results: a piece filed before has no such key.
LATER_MEASURES = frozenset(("outline_seen", *(limit.measure for limit in (*_OUTLINE, *_FACE))))


def defaults_of(limits: Limits) -> Iterator[tuple[Limit, frozenset[str]]]:
    """Each default that these limits leave in force, and the zones that have a limit of their own on its measure."""
    on_face = any(limit.measure in FACE_MEASURES for limit in limits.limits)
    for default in (*_OUTLINE, *(_FACE if on_face else ())):
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
    """Whether a limit on a measure is the one that holds where a works sets none."""
    return any((one.measure, one.min, one.max) == (measure, low, high) for one in (*_OUTLINE, *_FACE))


def not_measured_then(judged: JudgedPiece, limits: Limits) -> tuple[str, ...]:
    """Measures that a default asks for and that did not exist when this piece was filed; none for one not placed."""
    if judged.pose is None:
        return ()
    return tuple(default.measure for default, _ in defaults_of(limits) if default.measure not in judged.measures)
