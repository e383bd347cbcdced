"""What a limit costs: bad pieces that pass, and good ones that are rejected, at the works' own prices."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Costs:
    """Costs in any currency: of a bad piece that passes (`missed`), and of a good one that does not (`scrapped`).

    `bad_share`: of the pieces in production, not of the sample, that are bad.
    """

    missed: float
    scrapped: float
    bad_share: float


def cost_of(missed: float | None, false_alarm: float | None, costs: Costs | None) -> float | None:
    """Cost of a piece on average, at these shares missed and falsely rejected; None where one isn't known."""
    if costs is None or missed is None or false_alarm is None:
        return None
    return costs.bad_share * missed * costs.missed + (1 - costs.bad_share) * false_alarm * costs.scrapped


def bad_among_passed(missed: float | None, false_alarm: float | None, costs: Costs | None) -> float | None:
    """Share of bad pieces among those that pass; None where it isn't known."""
    if costs is None or missed is None or false_alarm is None:
        return None
    bad, good = costs.bad_share * missed, (1 - costs.bad_share) * (1 - false_alarm)
    return bad / (bad + good) if bad + good > 0 else None
