"""What can be tuned: a limit's bound or a counting rule; and how it is put into limits."""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Literal

from vision.decide import (
    MEASURES,
    next_draft,
)
from vision.errors import Unusable
from vision.records import CountRule, Limit, Limits, Severity

Side = Literal["max", "min"]
COUNT_RULES = tuple(field.name for field in fields(CountRule))


@dataclass(frozen=True, slots=True)
class Target:
    """What is tuned: a measure's bound (`zone` None where it is not taken per zone, or for every zone), or a counting
    rule by its key in `[count]` (then `zone` None, and greater is looser: `side` max).

    `severity` is that of the limit, for one that the limits lack so far.
    """

    name: str
    zone: str | None
    side: Side
    severity: Severity = "major"

    @property
    def is_rule(self) -> bool:
        """Whether a counting rule is meant."""
        return self.name in COUNT_RULES

    @property
    def sign(self) -> float:
        """+1 where a greater setting passes more, -1 where a smaller one does."""
        return 1.0 if self.side == "max" else -1.0

    @property
    def unit(self) -> str:
        """Unit of the setting; empty for a count or a ratio."""
        return ("mm" if self.name.endswith("_mm") else "") if self.is_rule else MEASURES[self.name].unit

    @property
    def words(self) -> str:
        """The setting in words, as `outline_out_mm, bowl, max`."""
        return self.name if self.is_rule else ", ".join(filter(None, (self.name, self.zone, self.side)))

    def set_to(self, setting: float) -> str:
        """A value of it in words, as `outline_out_mm, bowl, max = 0.2 mm`."""
        return f"{self.words} = {setting:g} {self.unit}".rstrip()


def target_of(limits: Limits, name: str, zone: str | None = None, side: Side | None = None) -> Target:
    """What is meant by a measure or rule; without a side the one that the limits bound already, else max.

    Parameters
    ----------
    limits
        Limits of the part.
    name
        A measure, or a counting rule.
    zone
        One of the measure's; none: a limit on all.
    side
        Upper or lower limit.

    Returns
    -------
    Target
        Which limit or rule, with its severity.

    Raises
    ------
    Unusable
        There is no such measure or rule, or it is not taken per zone.
    """
    if name in COUNT_RULES:
        if zone or side == "min":
            raise Unusable("--measure", name, "a counting rule stands alone; leave --zone and --side out")
        return Target(name, None, "max")
    if name not in MEASURES:
        raise Unusable("--measure", name, f"one of {', '.join((*MEASURES, *COUNT_RULES))}")
    if zone and not MEASURES[name].per_zone:
        raise Unusable("--zone", zone, f"no zone: {name} is not taken per zone")
    limit = limit_of(limits, name, zone)
    if limit is None:
        return Target(name, zone, side or "max")
    bounded: Side = "max" if limit.max is not None else "min"
    return Target(name, zone, side or bounded, limit.severity)


def limit_of(limits: Limits, name: str, zone: str | None) -> Limit | None:
    """The limit that bounds a measure in a zone: the zone's own, else the one for every zone."""
    own = [limit for limit in limits.limits if limit.measure == name and limit.zone in (zone, None)]
    return next((limit for limit in own if limit.zone == zone), own[0] if own else None)


def setting_now(limits: Limits, target: Target) -> float | None:
    """What the limits say so far; None where they bound nothing there.

    Parameters
    ----------
    limits
        Limits of the part.
    target
        Which limit or counting rule.

    Returns
    -------
    float | None
        In the measure's unit, or the counting rule's.
    """
    if target.is_rule:
        return float(getattr(limits.count, target.name))
    limit = limit_of(limits, target.name, target.zone)
    return None if limit is None else (limit.max if target.side == "max" else limit.min)


def with_setting(limits: Limits, target: Target, setting: float, zones: tuple[str, ...] = ()) -> Limits:
    """The next draft: these limits with one setting changed.

    Parameters
    ----------
    limits
        Limits of the part.
    target
        Which limit or counting rule.
    setting
        In the measure's unit, or the counting rule's.
    zones
        All zones of the measure, so that a limit for every zone can be told apart when one zone's is changed.

    Returns
    -------
    Limits
        A draft with the next number.
    """
    if target.is_rule:
        return next_draft(limits, count=replace(limits.count, **{target.name: setting}))
    split = replace(limits, limits=tuple(_zone_by_zone(limits.limits, target, zones)))
    limit = limit_of(split, target.name, target.zone) or Limit(target.name, target.severity, target.zone)
    changed = replace(limit, max=setting) if target.side == "max" else replace(limit, min=setting)
    return next_draft(split, changed)


def _zone_by_zone(limits: tuple[Limit, ...], target: Target, zones: tuple[str, ...]) -> Iterator[Limit]:
    """The limits, one for every zone told apart into one a zone where the target is one zone's."""
    own = {limit.zone for limit in limits if limit.measure == target.name}
    for limit in limits:
        if target.zone is not None and limit.measure == target.name and limit.zone is None:
            yield from (replace(limit, zone=zone) for zone in zones if zone not in own)
        else:
            yield limit
