"""The outline upright with its deviations drawn many times larger: outward filled, inward hatched, findings tagged."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from app.report.finding_tags import Anchor, draw_tags, tagged
from app.report.style import ACCENT, INK, MUTED, PAPER, RULE
from app.report.svg import element, path, text
from app.report.upright import Window, outward_normals
from vision.records import Array, DeviationProfile, EdgeFinding, Finding, Part

LARGEST_DRAWN_MM = 4.0  # how far, on the drawing, the largest deviation may reach
STEPS = (100, 50, 20, 10, 5, 2, 1)  # how many times larger deviations may be drawn
POINTS = 800  # of the outline as drawn: about one for every 3 px of a piece 1200 px long
LEAST_DRAWN_PX = 0.5  # below it a deviation as drawn hides under the outline's own line


@dataclass(frozen=True, slots=True)
class Style:
    """How many times larger deviations are drawn, and the name under which `hatching` defines the inward pattern."""

    times: int
    hatch: str


@dataclass(frozen=True, slots=True, eq=False)
class Thinned:
    """A profile with fewer points: of each stretch the point that deviates most, so that no peak is lost."""

    s_mm: Array
    nominal_mm: Array
    deviation_mm: Array
    normals: Array


def thin(profile: DeviationProfile, points: int) -> Thinned:
    """At most `points` points of a profile, the largest deviation of each stretch kept; nan where none was seen."""
    n = len(profile.s_mm)
    edges = np.linspace(0, n, min(points, n) + 1).astype(int)
    size = np.where(np.isfinite(profile.deviation_mm), np.abs(profile.deviation_mm), -1.0)
    keep = np.array([a + int(np.argmax(size[a:b])) for a, b in pairwise(edges)])
    normals = outward_normals(profile.nominal_mm)
    return Thinned(profile.s_mm[keep], profile.nominal_mm[keep], profile.deviation_mm[keep], normals[keep])


def magnification(deviation_mm: Array, limit_mm: float = 0.0) -> int:
    """How many times larger deviations are drawn: the largest step that keeps them within reach of the outline.

    A deviation as large as `limit_mm` (the tightest limit, 0 where there is none) fits too, so that what is far inside
    the limits looks small.

    Parameters
    ----------
    deviation_mm
        (n,) signed; nan where not seen.
    limit_mm
        The tightest limit; 0 where there is none.

    Returns
    -------
    int
        One of `STEPS`.
    """
    seen = deviation_mm[np.isfinite(deviation_mm)]
    largest = max(float(np.abs(seen).max()) if len(seen) else 0.0, limit_mm)
    return next((step for step in STEPS if largest * step <= LARGEST_DRAWN_MM), STEPS[-1])


def draw_outline(
    profile: DeviationProfile, part: Part, findings: Iterable[Finding], window: Window, style: Style
) -> list[str]:
    """Elements of the magnified outline, in px of the window.

    Outward deviations are filled, inward ones hatched; the nominal is the line between; where nothing was seen it is
    dashed.
    """
    thinned = thin(profile, POINTS)
    seen = np.isfinite(thinned.deviation_mm)
    times = style.times
    nominal = window.to_px(thinned.nominal_mm)
    reach_mm = np.where(seen, thinned.deviation_mm, 0.0) * times
    drawn = window.to_px(thinned.nominal_mm + reach_mm[:, None] * thinned.normals)
    visible = np.abs(reach_mm) * window.px_per_mm > LEAST_DRAWN_PX
    outward, inward = (_between(nominal, drawn, visible & (side * reach_mm > 0)) for side in (1.0, -1.0))
    ring = path(nominal, closed=True)
    holes = "".join(path(window.to_px(hole), closed=True) for hole in part.holes)
    return [
        *_zones(part, window),
        element("path", d=inward, fill=f"url(#{style.hatch})", stroke=MUTED, stroke_width=0.8),
        element("path", d=outward, fill=ACCENT, stroke="none"),
        element("path", d=ring + holes, fill="none", stroke=RULE, stroke_width=1.5, stroke_dasharray="3 4"),
        element("path", d=path(np.where(seen[:, None], nominal, np.nan)), fill="none", stroke=INK, stroke_width=1.2),
        *_marks_of_length(thinned, window),
        *_tags(findings, thinned, window, times),
    ]


def _between(nominal: Array, drawn: Array, inside: NDArray[np.bool_]) -> str:
    """Path of the patches between the nominal and the drawn line, where `inside` holds."""
    n = len(nominal)
    parts: list[str] = []
    for a, b in np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]))).reshape(-1, 2):
        span = np.arange(a - 1, b + 1) % n
        parts.append(path(np.vstack([drawn[span[1:-1]], nominal[span[::-1]]]), closed=True))
    return "".join(parts)


def hatching(name: str) -> str:
    """The hatching of inward deviations under a name of its own; a drawing that uses it holds it once."""
    line = element("path", d="M0 6L6 0", stroke=INK, stroke_width=1.1)
    return (
        f'<defs><pattern id="{name}" width="6" height="6" patternUnits="userSpaceOnUse">'
        f'<rect width="6" height="6" fill="{PAPER}"/>{line}</pattern></defs>'
    )


def _zones(part: Part, window: Window) -> list[str]:
    """Dotted borders between zones, with each zone's name at the foot."""
    width, height = window.size_px
    parts: list[str] = []
    for zone in part.zones:
        left, right = window.to_px(np.array([[zone.x_mm[0], 0.0], [zone.x_mm[1], 0.0]]))[:, 0]
        left, right = max(float(left), 0.0), min(float(right), float(width))
        parts.append(
            text(((left + right) / 2, height - 6.0), zone.name, text_anchor="middle", fill=MUTED, font_size=14)
        )
        if right < width - 1.0 and zone.x_mm[1] < float(part.outline[:, 0].max()):
            parts.append(
                element("path", d=f"M{right:.1f} 8V{height - 8}", stroke=RULE, stroke_width=1.2, stroke_dasharray="2 5")
            )
    return parts


def _marks_of_length(thinned: Thinned, window: Window) -> list[str]:
    """Ticks each 50 mm along the outline, inside it, so that the plot's axis can be followed on the piece."""
    parts: list[str] = []
    for s in np.arange(0.0, float(thinned.s_mm[-1]), 50.0):
        k = int(np.argmin(np.abs(thinned.s_mm - s)))
        foot, head, words = (window.to_px(thinned.nominal_mm[[k]] - d * thinned.normals[[k]])[0] for d in (0, 0.9, 2.2))
        parts.append(element("path", d=path([tuple(foot), tuple(head)]), stroke=MUTED, stroke_width=1.5))
        parts.append(text((words[0], words[1] + 4.0), f"{s:.0f}", text_anchor="middle", fill=MUTED, font_size=12))
    return parts


def _tags(findings: Iterable[Finding], thinned: Thinned, window: Window, times: int) -> list[str]:
    """A tag for each of the worst findings, clear of the deviations that they name."""
    anchors: list[Anchor] = []
    for finding in tagged(findings):
        k = _nearest(finding, thinned)
        reach_mm = times * (finding.deviation_mm if isinstance(finding, EdgeFinding) else 0.0)
        ends = window.to_px(np.vstack([thinned.nominal_mm[k], thinned.nominal_mm[k] + reach_mm * thinned.normals[k]]))
        anchors.append(Anchor(finding, ends[0], ends[1], thinned.normals[k] * np.array([1.0, -1.0])))
    return draw_tags(anchors, window.size_px)


def _nearest(finding: Finding, thinned: Thinned) -> int:
    """The outline's point that a tag belongs to: the finding's own, or for a bend the far end of the piece."""
    if isinstance(finding, EdgeFinding):
        return int(np.argmin(np.hypot(*(thinned.nominal_mm - np.asarray(finding.center_mm)).T)))
    return int(np.argmax(thinned.nominal_mm[:, 0]))
