"""Revisions of limits: what changed between two, and the next draft."""

from dataclasses import dataclass, fields, replace

from vision.records import CountRule, Limit, Limits

_RULES = tuple(one.name for one in fields(CountRule))


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that differs: `what` names it (`outline_out_mm.bowl max`); None where it is absent.

    `tighter` tells whether it can only turn verdicts for the worse (True), only for the better (False), or neither
    (None), as for a severity class.
    """

    what: str
    before: float | str | None
    after: float | str | None
    tighter: bool | None


def changes(before: Limits, after: Limits) -> tuple[Change, ...]:
    """Everything that differs between two revisions of the same part's limits, limits first.

    Parameters
    ----------
    before
        The earlier revision.
    after
        The later one.

    Returns
    -------
    tuple[Change, ...]
        What differs, one entry each.
    """
    old = {(limit.measure, limit.zone): limit for limit in before.limits}
    new = {(limit.measure, limit.zone): limit for limit in after.limits}
    found = [change for key in {**old, **new} for change in _of_limit(old.get(key), new.get(key))]
    found.append(
        Change("guard coverage", before.coverage, after.coverage, after.coverage > before.coverage),
    )
    for rule in _RULES:
        was, is_now = getattr(before.count, rule), getattr(after.count, rule)
        found.append(Change(f"count {rule}", was, is_now, is_now < was))
    found.append(Change("rate of marks", _rate(before), _rate(after), None))
    return tuple(change for change in found if change.before != change.after)


def _rate(limits: Limits) -> str | None:
    if limits.rate is None:
        return None
    classes = (f"{one.kind} {one.size_mm:g} mm snr {one.snr:g}: {one.per_cm2:g}" for one in limits.rate.classes)
    return f"{', '.join(classes)} per cm2 ({limits.rate.source})"


def next_draft(limits: Limits, changed: Limit | None = None, count: CountRule | None = None) -> Limits:
    """The next revision as a draft: one limit replaced or added, or other counting rules, all else kept.

    Parameters
    ----------
    limits
        The limits that judge.
    changed
        The limit to replace or to add; None: all stay.
    count
        Other counting rules; None: they stay.

    Returns
    -------
    Limits
        The next revision.
    """
    kept = limits.limits
    if changed is not None:
        same = [limit.measure == changed.measure and limit.zone == changed.zone for limit in kept]
        replaced = tuple(changed if hit else limit for hit, limit in zip(same, kept, strict=True))
        kept = replaced if any(same) else (*kept, changed)
    return replace(
        limits,
        revision=limits.revision + 1,
        status="draft",
        limits=kept,
        count=limits.count if count is None else count,
    )


def _of_limit(before: Limit | None, after: Limit | None) -> list[Change]:
    one = before or after
    assert one is not None
    name = f"{one.measure}.{one.zone}" if one.zone else one.measure
    was = (before.min, before.max, before.severity) if before else (None, None, None)
    is_now = (after.min, after.max, after.severity) if after else (None, None, None)
    return [
        Change(f"{name} min", was[0], is_now[0], _tighter(was[0], is_now[0], up=True)),
        Change(f"{name} max", was[1], is_now[1], _tighter(was[1], is_now[1], up=False)),
        Change(f"{name} class", was[2], is_now[2], None),
    ]


def _tighter(before: float | None, after: float | None, up: bool) -> bool:
    if before is None or after is None:
        return after is not None
    return after > before if up else after < before
