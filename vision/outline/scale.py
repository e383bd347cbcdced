"""Whether all pieces of a tray are off alike in length and in width: then it is the scale, and not the pieces."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vision.records import MeasuredPiece, Part, Station, TrayFinding


@dataclass(frozen=True, slots=True)
class ScaleSettings:
    """When all pieces of a tray are told to be off alike."""

    # A scale is told when it is this many standard uncertainties from one ...
    significant_u: float = 4.0
    # ... and length and width agree to so many.
    agree_u: float = 2.5
    # What the size of a part varies by between lots, as a share of it, where one tray's few pieces can't show it
    # (common practice, no source).
    usual_share: float = 0.0004
    # What an outline's even growth leaves of a width (mm).
    usual_mm: float = 0.03


SCALE = ScaleSettings()


@dataclass(frozen=True, slots=True)
class _Ratio:
    """Measured over drawn, less one, with its standard uncertainty."""

    value: float
    u: float


def scale_finding(pieces: Sequence[MeasuredPiece], part: Part, station: Station) -> TrayFinding | None:
    """What speaks for a wrong scale, in numbers; None where nothing does.

    Even growth adds the same to length and to width, a wrong scale the same share: they are told apart by a part's
    slenderness.

    Parameters
    ----------
    pieces
        All pieces of a tray, as measured.
    part
        The drawing with its zones and scored area.
    station
        The calibrated camera that took the frames.

    Returns
    -------
    TrayFinding | None
        The finding.
    """
    length, width = float(np.ptp(part.outline[:, 0])), float(np.ptp(part.outline[:, 1]))
    lengths = [one for piece in pieces if isinstance(one := piece.measures.get("length_mm"), float)]
    widths = [one for piece in pieces if (one := _widest(piece)) is not None]
    if not lengths or not widths:
        return None
    along, across = _ratio(lengths, length, station), _ratio(widths, width, station)
    agree = abs(along.value - across.value) < SCALE.agree_u * np.hypot(along.u, across.u)
    if not agree or any(abs(one.value) < SCALE.significant_u * one.u for one in (along, across)):
        return None
    detail = (
        f"all pieces ({len(lengths)}) are {along.value:+.2%} off in length and {across.value:+.2%} in width, as by "
        f"a wrong scale (sure to {2 * along.u:.2%} and {2 * across.u:.2%}); give this shot's own station"
    ).replace("-", "−")
    return TrayFinding("scale", None, detail)


def _widest(piece: MeasuredPiece) -> float | None:
    values = piece.measures.get("width_mm")
    known = [one for one in values.values() if one is not None] if isinstance(values, Mapping) else []
    return max(known, default=None)


def _ratio(values: list[float], drawn: float, station: Station) -> _Ratio:
    spread = float(np.std(values, ddof=1)) if len(values) > 1 else 0.0
    ends = np.sqrt(2.0) * station.outline_mm
    u = np.hypot(station.scale_relative, float(np.hypot(np.hypot(spread, ends), SCALE.usual_mm)) / drawn)
    return _Ratio(float(np.mean(values)) / drawn - 1.0, float(np.hypot(u, SCALE.usual_share)))
