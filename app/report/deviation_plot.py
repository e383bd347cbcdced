"""Deviation along the outline, with zones, limits and guard bands."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from app.report.deviation_outline import thin
from app.report.finding_tags import LETTERS, tagged
from app.report.style import ACCENT, INK, MUTED, PAPER, RULE, WASH
from app.report.svg import element, path, text
from vision.decide import quantile
from vision.records import Array, DeviationProfile, EdgeFinding, Finding, Limits, Pair, Part, Value

POINTS = 1000  # about one a px of the plot's width
RIM_POINTS = 250  # of the strip of the rim's doubt, which changes slowly
RIM_LEAST_PX = 1.0  # a strip that is nowhere wider is not drawn
LEFT, RIGHT, TOP, BOTTOM = 78.0, 10.0, 30.0, 42.0  # margins for ticks and names


@dataclass(frozen=True, slots=True)
class Band:
    """A limit on the outline of one zone, signed (outward positive), with half the guard band's width."""

    zone: str
    limit_mm: float
    guard_mm: float


@dataclass(frozen=True, slots=True)
class Axes:
    """From millimetres to px of the plot."""

    size: Pair
    length_mm: float
    top_mm: float

    def x(self, s_mm: float) -> float:
        """Place along the outline."""
        return LEFT + (self.size[0] - LEFT - RIGHT) * s_mm / self.length_mm

    def y(self, deviation_mm: float) -> float:
        """Signed deviation, outward up."""
        middle = (TOP + self.size[1] - BOTTOM) / 2
        return middle - (self.size[1] - TOP - BOTTOM) / 2 * deviation_mm / self.top_mm


def outline_bands(limits: Limits, uncertainties: Mapping[str, Value], part: Part) -> list[Band]:
    """The limits on outward and inward deviation of every zone.

    Half the guard band's width is the normal quantile of the limits' coverage times the value's standard uncertainty
    (ISO 14253-1); zero where the value, and so its uncertainty, is missing.
    """
    factor = quantile(limits.coverage)
    bands: list[Band] = []
    for limit in limits.limits:
        side = {"outline_out_mm": 1.0, "outline_in_mm": -1.0}.get(limit.measure)
        if side is None or limit.max is None:
            continue
        known = uncertainties.get(limit.measure)
        for zone in part.zones:
            if limit.zone in (None, zone.name):
                own = known.get(zone.name) if isinstance(known, Mapping) else None
                bands.append(Band(zone.name, side * limit.max, factor * (own or 0.0)))
    return bands


@dataclass(frozen=True, slots=True)
class ZoneRun:
    """A stretch of the outline that lies in one zone, mm along it."""

    zone: str
    first_mm: float
    last_mm: float


def zone_runs(profile: DeviationProfile, part: Part) -> list[ZoneRun]:
    """The outline's stretches in one zone each."""
    x = profile.nominal_mm[:, 0]
    index = np.full(len(x), -1)
    for k, zone in enumerate(part.zones):
        index[(x >= zone.x_mm[0]) & (x <= zone.x_mm[1])] = k
    cuts = np.concatenate([[0], np.flatnonzero(np.diff(index)) + 1, [len(x)]])
    return [
        ZoneRun(part.zones[index[a]].name, float(profile.s_mm[a]), float(profile.s_mm[min(b, len(x) - 1)]))
        for a, b in pairwise(cuts)
        if index[a] >= 0
    ]


def draw_plot(
    profile: DeviationProfile, part: Part, findings: Iterable[Finding], bands: Iterable[Band], size: Pair
) -> list[str]:
    """Elements of the plot, in px from its upper left corner."""
    bands = list(bands)
    thinned = thin(profile, POINTS)
    seen = thinned.deviation_mm[np.isfinite(thinned.deviation_mm)]
    rim_u = [] if profile.rim_u_mm is None else [2 * float(profile.rim_u_mm.max())]
    reach = [*np.abs(seen).tolist(), *rim_u, *(abs(band.limit_mm) + band.guard_mm for band in bands), 0.01]
    axes = Axes(size, float(profile.s_mm[-1]), 1.12 * max(reach))
    runs = zone_runs(profile, part)
    line = np.column_stack([[axes.x(s) for s in thinned.s_mm], [axes.y(d) for d in thinned.deviation_mm]])
    return [
        *_zones(runs, axes),
        *_scales(axes),
        *_rim(profile, axes),
        *_limits(runs, bands, axes),
        *_unseen(thinned.s_mm, thinned.deviation_mm, axes),
        element("path", d=path(line), fill="none", stroke=INK, stroke_width=1.6, stroke_linejoin="round"),
        *_letters(findings, profile, axes),
    ]


def _rim(profile: DeviationProfile, axes: Axes) -> list[str]:
    """What the bright band along the rim leaves in doubt of each deviation: two standard uncertainties either way."""
    if profile.rim_u_mm is None:
        return []
    at = np.linspace(0, len(profile.s_mm) - 1, min(RIM_POINTS, len(profile.s_mm))).astype(int)
    x = [axes.x(float(s)) for s in profile.s_mm[at]]
    middle, half = profile.deviation_mm[at], 2 * profile.rim_u_mm[at]
    if abs(axes.y(0.0) - axes.y(float(half.max()))) < RIM_LEAST_PX:
        return []
    parts = []
    # A stretch that was not seen has no deviation to be in doubt of.
    seen = np.concatenate([[0], np.isfinite(middle).astype(np.int8), [0]])
    for a, b in np.flatnonzero(np.diff(seen)).reshape(-1, 2):
        top = [(x[k], axes.y(float(middle[k] + half[k]))) for k in range(a, b)]
        low = [(x[k], axes.y(float(middle[k] - half[k]))) for k in range(b - 1, a - 1, -1)]
        parts.append(element("path", d=path(top + low, closed=True), fill=MUTED, fill_opacity=0.3))
    name = "grey: what the rim's bright band leaves in doubt, 2 u"
    parts.append(text((axes.size[0] - RIGHT, axes.size[1] - 4.0), name, text_anchor="end", fill=MUTED, font_size=14))
    return parts


def _zones(runs: list[ZoneRun], axes: Axes) -> list[str]:
    parts: list[str] = []
    for k, run in enumerate(runs):
        left, width = axes.x(run.first_mm), axes.x(run.last_mm) - axes.x(run.first_mm)
        fill = WASH if k % 2 == 0 else PAPER
        height = axes.size[1] - TOP - BOTTOM
        parts.append(element("rect", x=f"{left:.1f}", y=TOP, width=f"{width:.1f}", height=f"{height:.1f}", fill=fill))
        if width > 9.0 * len(run.zone):
            parts.append(text((left + width / 2, TOP - 10.0), run.zone, text_anchor="middle", fill=MUTED, font_size=14))
    return parts


def _tick_step(span: float) -> float:
    """The step of 1, 2 or 5 times a power of ten that gives two to five ticks."""
    power = 10.0 ** np.floor(np.log10(span))
    return float(next(step * power for step in (0.2, 0.5, 1.0, 2.0) if span / (step * power) <= 5.0))


def _scales(axes: Axes) -> list[str]:
    parts: list[str] = []
    step = _tick_step(axes.top_mm)
    decimals = max(0, int(-np.floor(np.log10(step))))
    for k in range(-int(axes.top_mm / step), int(axes.top_mm / step) + 1):
        y = axes.y(k * step)
        words = f"{k * step:+.{decimals}f}".replace("-", "−") if k else "0"
        parts.append(
            element(
                "path", d=f"M{LEFT} {y:.1f}H{axes.size[0] - RIGHT}", stroke=MUTED if k == 0 else RULE, stroke_width=1
            )
        )
        parts.append(text((LEFT - 8.0, y + 5.0), words, text_anchor="end", fill=MUTED, font_size=14))
    foot = axes.size[1] - BOTTOM
    for s in np.arange(0.0, axes.length_mm, 50.0):
        x = axes.x(float(s))
        parts.append(element("path", d=f"M{x:.1f} {foot}v6", stroke=MUTED, stroke_width=1))
        parts.append(text((x, foot + 21.0), f"{s:.0f}", text_anchor="middle", fill=MUTED, font_size=14))
    middle = (TOP + foot) / 2
    parts.append(text((LEFT, axes.size[1] - 4.0), "mm along the outline", fill=MUTED, font_size=14))
    parts.append(
        text((16.0, middle), "mm, outward +", text_anchor="middle", fill=MUTED, font_size=14,
             transform=f"rotate(-90 16 {middle:.1f})")
    )  # fmt: skip
    return parts


def _limits(runs: list[ZoneRun], bands: list[Band], axes: Axes) -> list[str]:
    """Each limit as a line over its zone's stretches, the guard band about it shaded."""
    parts: list[str] = []
    line = {"stroke": ACCENT, "stroke_width": 1.8, "stroke_dasharray": "9 5"}
    for band in bands:
        y = axes.y(band.limit_mm)
        high, low = axes.y(band.limit_mm + band.guard_mm), axes.y(band.limit_mm - band.guard_mm)
        for run in runs:
            if run.zone != band.zone:
                continue
            left, right = axes.x(run.first_mm), axes.x(run.last_mm)
            box = {
                "x": f"{left:.1f}",
                "y": f"{high:.1f}",
                "width": f"{right - left:.1f}",
                "height": f"{low - high:.1f}",
            }
            parts.append(element("rect", **box, fill=ACCENT, fill_opacity=0.22))
            parts.append(element("path", d=f"M{left:.1f} {y:.1f}H{right:.1f}", **line))
    return parts


def _unseen(s_mm: Array, deviation_mm: Array, axes: Axes) -> list[str]:
    """Stretches where the outline was not seen: a thick dotted bar on the zero line."""
    hidden = np.concatenate([[0], (~np.isfinite(deviation_mm)).astype(np.int8), [0]])
    parts: list[str] = []
    for a, b in np.flatnonzero(np.diff(hidden)).reshape(-1, 2):
        left, right = axes.x(float(s_mm[a])), axes.x(float(s_mm[min(b, len(s_mm) - 1)]))
        d = f"M{left:.1f} {axes.y(0.0):.1f}H{max(right, left + 3.0):.1f}"
        parts.append(element("path", d=d, stroke=MUTED, stroke_width=7, stroke_dasharray="2 4"))
        if right - left > 70.0:
            parts.append(
                text(
                    ((left + right) / 2, axes.y(0.0) - 12.0), "not seen", text_anchor="middle", fill=MUTED, font_size=14
                )
            )
    return parts


def _letters(findings: Iterable[Finding], profile: DeviationProfile, axes: Axes) -> list[str]:
    """The letters of the tagged findings beside their peaks."""
    parts: list[str] = []
    for letter, finding in zip(LETTERS, tagged(findings), strict=False):
        if isinstance(finding, EdgeFinding):
            k = int(np.argmin(np.hypot(*(profile.nominal_mm - np.asarray(finding.center_mm)).T)))
            y = min(max(axes.y(finding.deviation_mm) + 5.0, TOP + 14.0), axes.size[1] - BOTTOM - 4.0)
            parts.append(text((axes.x(float(profile.s_mm[k])) + 8.0, y), letter, font_size=15, font_weight=700))
    return parts
