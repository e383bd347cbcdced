"""From a station's checks with a reference piece to what it measures too much: the values of a correction."""

from collections.abc import Mapping, Sequence
from math import hypot, sqrt

from vision.calibrate.checks import ReferenceValue
from vision.records import CorrectedValue

SURE = 2.0
"""A bias is taken out where it is more than so many of its standard uncertainties (about 95 %)."""


def correction_values(
    references: Sequence[ReferenceValue],
    found: Sequence[Mapping[str, float | None]],
    before: Sequence[CorrectedValue],
) -> tuple[CorrectedValue, ...]:
    """What a station measures too much, from its checks; what is not surely more than nothing is left as it is.

    Parameters
    ----------
    references
        What the piece is known to measure: `common_standard` the certificate's uncertainty, `repeat_standard` that of
        one laying and measurement.
    found
        What each check since the calibration measured, by measure, with `before` taken out already.
    before
        The values in force.

    Returns
    -------
    tuple[CorrectedValue, ...]
        The values of the next revision: the bias that is left added to what was taken out before, with the standard
        uncertainty of the mean against the certificate.

    Examples
    --------
    >>> length = ReferenceValue("length_mm", 135.0, 0.002, 0.003)
    >>> correction_values([length], [{"length_mm": 134.97}, {"length_mm": 134.98}], ())[0].off
    -0.025
    """
    values = {(one.measure, one.zone): one for one in before}
    for reference in references:
        measure, _, zone = reference.measure.partition(".")
        off = [value - reference.value for each in found if (value := each.get(reference.measure)) is not None]
        if not off:
            continue
        left = sum(off) / len(off)
        u = hypot(reference.common_standard, reference.repeat_standard / sqrt(len(off)))
        if abs(left) > SURE * u:
            key = (measure, zone or None)
            known = values[key].off if key in values else 0.0
            values[key] = CorrectedValue(*key, round(known + left, 6), u)
    return tuple(values.values())
