"""Whether a frame is torn: from one row on its lines are shifted sideways, as when lines were lost on the way.

Every edge that crosses such a row jumps there by the same number of pixels to the same side, on every piece. No piece
has such a form: what is on it jumps with its own outline, outward or inward.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.records import Array, DeviationProfile, MeasuredPiece, TrayFinding


@dataclass(frozen=True, slots=True)
class TornSettings:
    """When a frame is told to be torn."""

    # An edge's place just before and just after a row is the mean over this stretch of it (mm from the row): beyond
    # what the profile's own smoothing mixes, near enough for a piece's form to run on.
    stretch_mm: tuple[float, float] = (0.5, 1.1)
    # An edge this steep across the rows (sideways part of its normal) is looked into: it shows half the shift at least.
    steep: float = 0.5
    # A jump from here on (px) is looked into: rendered edges jump by 0.02 on their own.
    jump_px: float = 0.6
    # All edges at that row must jump as such a shift lets them, within so much (px) ...
    off_px: float = 0.15
    # ... or this share of it: shallow edges cross it over some length.
    off_share: float = 0.3
    # One at least must do so that lies so far from it (mm), on another stretch of outline ...
    apart_mm: float = 3.0
    # ... by so much (px), beyond what is allowed for above.
    surely_px: float = 0.2


TORN = TornSettings()


@dataclass(frozen=True, slots=True, eq=False)
class _Crossings:
    """Points of outlines, all (n,): the row, the sideways part of the outward normal, by how much the edge jumps
    outward there (px, down the rows), and a place along all outlines (mm) that keeps edges apart.
    """

    row: Array
    right: Array
    jump: Array
    place: Array


def torn_finding(pieces: Sequence[MeasuredPiece], mm_per_px: float, name: str) -> TrayFinding | None:
    """Whether the backlit frame is torn: the edges of all pieces jump alike at one row.

    Parameters
    ----------
    pieces
        As measured, in any order.
    mm_per_px
        Of the frame.
    name
        The frame's file, for the finding's words.

    Returns
    -------
    TrayFinding | None
        With the row and the shift (px); None where no row is one.
    """
    profiles = [(piece.piece, piece.profile) for piece in pieces if piece.profile is not None]
    if not profiles:
        return None
    parts = [_crossings(number, profile, mm_per_px) for number, profile in profiles]
    every = _Crossings(
        *(np.concatenate([getattr(part, one) for part in parts]) for one in ("row", "right", "jump", "place"))
    )
    steep = np.flatnonzero(np.abs(every.right) >= TORN.steep)
    shifts = every.jump[steep] / every.right[steep]
    large = np.flatnonzero(np.abs(shifts) >= TORN.jump_px)
    for one in large[np.argsort(-np.abs(shifts[large]), kind="stable")]:
        at, shift = steep[one], shifts[one]
        near = np.abs(every.row - every.row[at]) <= 1.0
        expected = shift * every.right[near]
        alike = np.abs(every.jump[near] - expected) < np.maximum(TORN.off_px, TORN.off_share * np.abs(expected))
        apart = np.abs(every.place[near] - every.place[at]) > TORN.apart_mm
        if alike.all() and (apart & (np.abs(expected) > TORN.surely_px)).any():
            detail = f"torn at row {every.row[at]:.0f}: from there on lines are shifted by {shift:+.1f} px to the right"
            return TrayFinding("moved", None, f"{name}: {detail}; look to the camera's cable")
    return None


def _crossings(number: int, profile: DeviationProfile, mm_per_px: float) -> _Crossings:
    at, step = profile.nominal_px, float(profile.s_mm[1] - profile.s_mm[0])
    deviation = profile.deviation_mm / mm_per_px
    ahead = np.roll(at, -2, axis=0) - np.roll(at, 2, axis=0)
    near, far = (max(1, round(one / step)) for one in TORN.stretch_mm)
    index, span = np.arange(len(at))[:, None], np.arange(near, far + 1)
    after = deviation[(index + span) % len(at)].mean(axis=1)
    before = deviation[(index - span) % len(at)].mean(axis=1)
    jump = (after - before) * np.sign(ahead[:, 1])
    use = np.isfinite(jump)
    # counter-clockwise as seen, rows downwards: outward is to the left of the way ahead in the frame's own axes
    right = -ahead[:, 1] / np.maximum(np.hypot(*ahead.T), 1e-12)
    return _Crossings(at[use, 1], right[use], jump[use], 1e4 * number + profile.s_mm[use])
