"""The magnified outline, its tags and the plot."""

from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, strategies as st

from app.report.deviation_outline import LARGEST_DRAWN_MM, STEPS, Style, draw_outline, hatching, magnification, thin
from app.report.deviation_plot import draw_plot, outline_bands, zone_runs
from app.report.finding_tags import LETTERS, Anchor, draw_tags, tagged
from app.report.svg import document
from app.report.upright import window_around
from tests.report import made
from vision.decide.guard import quantile
from vision.records.measured import BendFinding, EdgeFinding, Finding, Pit, Value

STYLE = Style(times=10, hatch="h")


def edge_finding(deviation_mm: float) -> EdgeFinding:
    return EdgeFinding("burr", "bowl", (0.0, 0.0), (0.0, 0.0), deviation_mm, deviation_mm, 1.0)


@given(st.integers(1, 400), st.integers(0, 1999), st.floats(-2.0, 2.0).filter(lambda d: abs(d) > 1e-3))
def test_thinning_never_loses_a_peak(points: int, where: int, height: float) -> None:
    profile = made.profile((0.0, 0.0))
    profile.deviation_mm[where] = height
    thinned = thin(profile, points)
    assert len(thinned.s_mm) == points
    assert height in thinned.deviation_mm
    assert (np.diff(thinned.s_mm) > 0).all()


@given(st.lists(st.floats(-5.0, 5.0), min_size=1, max_size=20))
def test_deviations_are_drawn_as_large_as_there_is_room(values: list[float]) -> None:
    times, largest = magnification(np.array([*values, np.nan])), max(map(abs, values))
    assert times in STEPS
    assert times == 1 or largest * times <= LARGEST_DRAWN_MM
    larger = [step for step in STEPS if step > times]
    assert all(largest * step > LARGEST_DRAWN_MM for step in larger)


def test_nothing_seen_is_drawn_at_the_largest_step() -> None:
    assert magnification(np.full(5, np.nan)) == STEPS[0]


def test_what_is_far_inside_the_limits_is_drawn_small() -> None:
    assert magnification(np.array([0.01, -0.02]), 0.15) == 20
    assert magnification(np.array([0.01, -0.5]), 0.15) == 5


def test_outward_is_filled_and_inward_hatched() -> None:
    part, profile = made.part(), made.profile((0.0, 0.0), made.BURR_MM)
    window = window_around(part.outline, 5.0, 1200.0)
    whole = "".join(draw_outline(profile, part, [], window, STYLE))
    filled = [p.get("d") for p in paths(whole) if p.get("fill", "").startswith("#")]
    hatched = [p.get("d") for p in paths(whole) if p.get("fill") == "url(#h)"]
    assert len(filled) == 1
    assert filled[0]
    assert hatched == [""]
    profile.deviation_mm[:] *= -1.0
    whole = "".join(draw_outline(profile, part, [], window, STYLE))
    assert [p.get("d") for p in paths(whole) if p.get("fill", "").startswith("#")] == [""]
    assert all(p.get("d") for p in paths(whole) if p.get("fill") == "url(#h)")


def test_the_drawing_reaches_as_far_as_the_magnified_burr() -> None:
    part, profile = made.part(), made.profile((0.0, 0.0), made.BURR_MM)
    window = window_around(part.outline, 5.0, 1200.0)
    patch = next(
        p for p in paths("".join(draw_outline(profile, part, [], window, STYLE))) if p.get("fill", "#") == "#c2410c"
    )
    ys = [float(pair.split()[1]) for pair in patch.get("d", "").strip("MZ").split("L")]
    k = int(np.argmax(profile.deviation_mm))
    foot = window.to_px(profile.nominal_mm[[k]])[0, 1]
    assert max(abs(y - foot) for y in ys) == pytest.approx(10 * made.BURR_MM * window.px_per_mm, abs=1.0)


def paths(parts: str) -> list[ElementTree.Element]:
    root = ElementTree.fromstring(document((10.0, 10.0), [hatching("h"), parts], "title"))
    return root.findall("{http://www.w3.org/2000/svg}path")


def test_the_worst_findings_are_tagged_the_bend_first() -> None:
    edges = [edge_finding(d) for d in (0.01, -0.3, 0.2)]
    findings: list[Finding] = [*edges, BendFinding("handle", 0.1), Pit((0, 0), (0, 0), 1.0, 9.0)]
    sizes = [one.deviation_mm if isinstance(one, EdgeFinding) else "bend" for one in tagged(findings)]
    assert sizes == ["bend", -0.3, 0.2, 0.01]
    assert len(tagged([edge_finding(0.1 * k) for k in range(50)])) == len(LETTERS)


@given(st.lists(st.tuples(st.floats(0, 1200), st.floats(60, 340), st.floats(0, 6.28)), min_size=1, max_size=8))
def test_tags_stay_inside_the_picture(places: list[tuple[float, float, float]]) -> None:
    anchors = [
        Anchor(edge_finding(0.1), np.array([x, y]), np.array([x, y]), np.array([np.cos(a), np.sin(a)]))
        for x, y, a in places
    ]
    root = ElementTree.fromstring(document((1200, 400), draw_tags(anchors, (1200, 400)), "tags"))
    boxes = [
        tuple(float(rect.get(name, "")) for name in ("x", "y", "width", "height"))
        for rect in root.iter("{http://www.w3.org/2000/svg}rect")
    ]
    assert len(boxes) == len(anchors)
    assert all(x >= 0 and y >= 0 and x + w <= 1200.1 and y + h <= 400.1 for x, y, w, h in boxes)


def test_tags_of_neighbours_do_not_cover_one_another() -> None:
    feet = [np.array([600.0 + 4.0 * k, 200.0]) for k in range(4)]
    up = np.array([0.0, -1.0])
    anchors = [Anchor(edge_finding(0.1), foot, foot + 30.0 * up, up) for foot in feet]
    root = ElementTree.fromstring(document((1200, 400), draw_tags(anchors, (1200, 400)), "tags"))
    boxes = sorted(
        (float(r.get("y", "")), float(r.get("x", "")), float(r.get("width", "")))
        for r in root.iter("{http://www.w3.org/2000/svg}rect")
    )
    for (y, x, width), (other_y, other_x, _) in pairwise(boxes):
        assert other_y - y >= 26.0 or other_x - x >= width


def test_limits_become_signed_bands_with_their_guard() -> None:
    sure: dict[str, Value] = {
        "outline_out_mm": {"bowl": 0.004, "handle": 0.01},
        "outline_in_mm": {"bowl": None, "handle": 0.002},
    }
    bands = outline_bands(made.limits(), sure, made.part())
    factor = quantile(0.95)
    assert [(b.zone, b.limit_mm, b.guard_mm) for b in bands] == [
        ("bowl", 0.15, pytest.approx(factor * 0.004)),
        ("handle", 0.15, pytest.approx(factor * 0.01)),
        ("bowl", -0.10, 0.0),
    ]


def test_zone_runs_cover_the_outline_in_order() -> None:
    profile = made.profile((0.0, 0.0))
    runs = zone_runs(profile, made.part())
    assert [one.zone for one in runs] == ["handle", "bowl", "handle"]
    assert runs[0].first_mm == 0.0
    assert runs[-1].last_mm == profile.s_mm[-1]
    assert all(one.last_mm == other.first_mm for one, other in pairwise(runs))


def test_the_plot_shows_what_the_rim_leaves_in_doubt() -> None:
    plain = made.profile((0.0, 0.0))
    doubtful = replace(plain, rim_u_mm=np.full(len(plain.s_mm), 0.02))
    doubtful.deviation_mm[1500:2200] = np.nan
    words = "what the rim"
    for profile, strips in ((plain, 0), (replace(plain, rim_u_mm=np.zeros(len(plain.s_mm))), 0), (doubtful, 2)):
        plot = "".join(draw_plot(profile, made.part(), [], [], (1200.0, 250.0)))
        assert plot.count('fill-opacity="0.3"') == strips
        assert (words in plot) == bool(strips)


def test_the_plot_shows_limits_letters_and_what_was_not_seen() -> None:
    profile = made.profile((0.0, 0.0), made.BURR_MM)
    profile.deviation_mm[1500:2200] = np.nan
    part = made.part()
    bands = outline_bands(made.limits(), {}, part)
    plot = "".join(draw_plot(profile, part, [made.burr()], bands, (1200.0, 250.0)))
    root = ElementTree.fromstring(document((1200, 250), [plot], "plot"))
    words = [one.text for one in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"A", "not seen", "bowl", "handle", "0"} <= set(words)
    dashed = [p for p in root.iter("{http://www.w3.org/2000/svg}path") if p.get("stroke-dasharray") == "9 5"]
    assert len(dashed) == 4  # outward in the bowl's one stretch and the handle's two, inward in the bowl's
