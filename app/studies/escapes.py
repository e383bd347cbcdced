"""Bad pieces among those that go to packing: how many of one lot, from what people said of passed pieces blind."""

from dataclasses import dataclass

from app.statistics import Estimate, clopper_pearson, predicted_count


@dataclass(frozen=True, slots=True)
class Escapes:
    """Bad pieces among those that go to packing.

    Of `seen` pieces that the camera passes people, who did not know its verdict, rejected `bad` and were tied on
    `tied`, which count half, with intervals that hold whichever way they would be settled; `share`: what share that is;
    `escaped`: how many of this lot's passed pieces are bad, its own number, with the interval of a
    prediction; `per_million` packed, None where the camera passes none. `own`: whether the pieces seen are of this lot,
    or of the part's other lots, which this one must then be like. The ends of all intervals are of 95 %.
    """

    bad: int
    seen: int
    share: Estimate
    escaped: Estimate
    per_million: Estimate | None
    own: bool
    tied: int = 0


@dataclass(frozen=True, slots=True)
class PassedBlind:
    """Pieces that the camera passes and people judged without knowing it: rejected by most, tied, and how many.

    `bad_own`, `seen_own` and `tied_own` of this lot, `bad`, `seen` and `tied` of all lots of the part, this one's among
    them.
    """

    bad: int = 0
    seen: int = 0
    bad_own: int = 0
    seen_own: int = 0
    tied: int = 0
    tied_own: int = 0


NOBODY_LOOKED = PassedBlind()


def escapes_of(passed: int, packed: int, blind: PassedBlind) -> Escapes | None:
    """How many of the lot's passed pieces are bad, from those that people judged blind; None where nobody looked.

    Taken over passed pieces alone, which a round draws at random among themselves. From this lot's own where it has
    any: the others of it are predicted from those. Else from the part's other lots, as if this one were of the same
    process.
    """
    own = blind.seen_own > 0
    bad, seen, tied = blind.bad, blind.seen, blind.tied
    if own:
        bad, seen, tied = blind.bad_own, blind.seen_own, blind.tied_own
    if seen == 0:
        return None
    least, most = clopper_pearson(bad, seen), clopper_pearson(bad + tied, seen)
    assert least.ci is not None
    assert most.ci is not None
    value = (bad + tied / 2) / seen
    unseen = max(passed - blind.seen_own, 0)
    low = blind.bad_own + predicted_count(bad, seen, unseen)[0]
    high = blind.bad_own + blind.tied_own + predicted_count(bad + tied, seen, unseen)[1]
    escaped = Estimate(blind.bad_own + blind.tied_own / 2 + value * unseen, (float(low), float(high)))
    share = Estimate(value, (least.ci[0], most.ci[1]))
    per_million = _times(escaped, 1e6 / packed) if passed else None
    return Escapes(bad, seen, share, escaped, per_million, own, tied)


def _times(share: Estimate, factor: float) -> Estimate:
    assert share.value is not None
    assert share.ci is not None
    return Estimate(share.value * factor, (share.ci[0] * factor, share.ci[1] * factor))
