"""Measures, limits and findings in words: one source for pictures, reports and pages."""

from collections.abc import Mapping
from dataclasses import dataclass

from vision.decide import COUNTED_MEASURES, MEASURES, is_default
from vision.records import (
    Reason,
    Value,
)


@dataclass(frozen=True, slots=True)
class MeasureWords:
    """How a measure is named and printed: `decimals` places, then `unit`."""

    title: str
    unit: str
    decimals: int


# Units as people read them, where files have them otherwise.
_PRINTED = {"deg": "°", "mm2": "mm²", "cm2": "cm²", "mm/cm2": "mm/cm²", "1/cm2": "per cm²"}

_KNOWN_BY: Mapping[str, str] = {
    "login": "signed in",
    "account": "by their account",
    "declared": "declared",
    "before roles": "before roles",
    "imported": "from a table",
}


def known_words(known_by: str | None) -> str:
    """How sure it is who somebody is.

    Parameters
    ----------
    known_by
        How the name is known; none: it was declared.

    Returns
    -------
    str
        Two or three words.
    """
    return _KNOWN_BY[known_by or "declared"]


def whose_words(name: str | None, known_by: str | None) -> str:
    """Who acted, and how sure that is: `R. Hale (declared)`.

    Parameters
    ----------
    name
        The person's; none: nobody said.
    known_by
        How the name is known; none: it was declared.

    Returns
    -------
    str
        A few words.
    """
    return f"{name or 'nobody named'} ({known_words(known_by)})"


FAULTS: dict[str, str] = {
    "touching": "it touches a neighbour: only what can be seen was measured",
    "cut_off": "the edge of the frame cuts it off",
    "unlike": "its outline is not this part's",
    "face_down": "it lies face down",
    "outline_hidden": "too much of its outline is hidden",
    "stray": "what lies at its rim may be lint or a burr: wipe it and take it again, or look",
    "exposure": "the frame is too dark or too bright to measure",
    "focus": "the frame is out of focus",
    "fit": "the drawing does not fit its outline",
    "response": "the camera's values do not follow the light",
    "scale": "all pieces are off alike: the scale does not fit this station",
    "calibration": "the station's calibration does not hold for this day",
    "stopped": "the station stands stopped by its check",
    "moved": "the tray moved between the frames",
    "missing_light": "a frame that the station must have is missing",
    "wrong_light": "a frame does not show what it is named for",
}

# What is read off where the outline lies.
_BY_THE_EDGE = ("outline_out_mm", "outline_in_mm", "outline_rms_mm", "length_mm", "width_mm")


def measure_words(name: str) -> MeasureWords:
    """How a measure is named and printed; an unknown one goes by its own name.

    Parameters
    ----------
    name
        Of a measure.

    Returns
    -------
    MeasureWords
        Title, unit and decimals.
    """
    known = MEASURES.get(name)
    if known is None:
        return MeasureWords(name, "", 3)
    return MeasureWords(known.title, _PRINTED.get(known.unit, known.unit), known.decimals)


def number_words(name: str, value: float | None, more_decimals: int = 0) -> str:
    """A value of a measure with its unit; `not measured` for a missing one.

    Parameters
    ----------
    name
        Of a measure.
    value
        In the measure's unit; none: not measured.
    more_decimals
        Beyond those of the measure.

    Returns
    -------
    str
        A text.
    """
    if value is None:
        return "not measured"
    words = measure_words(name)
    rounded = round(value, words.decimals + more_decimals) + 0.0  # the sum turns -0.0 into 0.0
    number = f"{rounded:.{words.decimals + more_decimals}f}".replace("-", "−")
    return f"{number}{words.unit}" if words.unit == "°" else f"{number} {words.unit}".rstrip()


def per_zone(value: Value) -> dict[str | None, float | None]:
    """A measure's values by zone; a measure that is not taken per zone stands under None."""
    return dict[str | None, float | None](value.items()) if isinstance(value, Mapping) else {None: value}


def reason_words(reason: Reason, guard: float | None) -> str:
    """One limit that was not passed, as a person would say it.

    Of what is counted the chance that the limit is kept is said in place of the guard band, where the result holds it.

    Parameters
    ----------
    reason
        Of a verdict.
    guard
        Half width of the guard band about the limit, in the measure's unit; none where the value is missing.

    Returns
    -------
    str
        A line.

    Examples
    --------
    >>> from vision.records import Reason
    >>> reason_words(Reason("outline_out_mm", "bowl", 0.31, 0.011, None, 0.15, "major", "reject"), 0.018)
    'outward deviation, bowl: 0.310 mm; limit at most 0.150 mm; major: sure to 0.018 mm'
    """
    words = measure_words(reason.measure)
    place = f", {reason.zone}" if reason.zone else ""
    bounds = [
        f"at {side} {number_words(reason.measure, bound)}"
        for side, bound in (("least", reason.min), ("most", reason.max))
        if bound is not None
    ]
    if reason.measure in COUNTED_MEASURES and reason.conformance is not None:
        sure = f": chance that it is kept {_chance_words(reason.conformance)}"
    else:
        sure = "" if guard is None else f": {sure_words(reason.measure, guard)}"
    value = number_words(reason.measure, reason.value)
    limit = "default limit" if is_default(reason.measure, reason.min, reason.max) else "limit"
    return f"{words.title}{place}: {value}; {limit} {' and '.join(bounds)}; {reason.severity}{sure}"


def unseen_words(reason: Reason, measures: Mapping[str, Value]) -> str:
    """What a value of the outline could not see: of a largest deviation the longest stretch, of all an unknown light.

    Empty where all was seen, or nobody measured it then.

    Parameters
    ----------
    reason
        Of a verdict.
    measures
        Of the piece.

    Returns
    -------
    str
        A clause; empty where all was seen.
    """
    said = ""
    stretches, unknown = measures.get("outline_unseen_mm"), measures.get("rim_unknown_mm")
    if reason.measure in ("outline_out_mm", "outline_in_mm") and isinstance(stretches, Mapping):
        longest = stretches.get(reason.zone or "") or 0.0
        said = f"; up to {number_words('outline_unseen_mm', longest)} in one stretch not seen" if longest > 0.0 else ""
    if reason.measure in _BY_THE_EDGE and isinstance(unknown, float) and unknown > 0.0:
        far = number_words("rim_unknown_mm", unknown)
        said += f"; the edge may lie {far} further out, as nobody knows how wide the backlight is ([backlight])"
    return said


def _chance_words(chance: float) -> str:
    """A chance to two decimals, never as sure where it is not."""
    return "less than 0.01" if 0.0 < chance < 0.01 else "more than 0.99" if 0.99 < chance < 1.0 else f"{chance:.2f}"


def sure_words(measure: str, guard: float) -> str:
    """How far a value may be off; of a count also why, as whole numbers look exact.

    Parameters
    ----------
    measure
        Its name.
    guard
        Half width of the guard band, in the measure's unit.

    Returns
    -------
    str
        A few words.
    """
    words = measure_words(measure)
    number = number_words(measure, guard, 0 if words.decimals else 1)
    if words.decimals or words.unit:
        return f"sure to {number}"
    if guard == 0.0:
        return "sure"
    return f"give or take {number if float(number) else 'less than 0.1'} for faint and borderline marks"
