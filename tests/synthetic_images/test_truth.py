"""Truth against a computation of another kind: shapely's rays, extents and distances on dense polygons."""

import numpy as np
import pytest
import shapely

from synthetic_images.outlines.defects import Bump, Defects, HoleError, true_outline_mm
from synthetic_images.outlines.families import scene
from synthetic_images.outlines.scene import Piece, Scene, piece_rings_mm, polygon, silhouettes
from synthetic_images.outlines.truth import deviations_mm, piece_measures, pose_px, tray_truth
from synthetic_images.outlines.view import perspective_view, plain_view, to_px
from synthetic_images.spoons import DESSERT_SPOON, TEASPOON, outline

NOMINAL = outline(TEASPOON)
FLAWS = Defects(
    (
        Bump("burr", 20.0, 0.42, 0.4),
        Bump("nick", 95.0, -0.35, 0.9),
        Bump("swell", 190.0, 0.12, 5.0),
        Bump("burr", NOMINAL.perimeter_mm / 2, 0.2, 0.5),
    ),
    growth_mm=0.02,
    bend_deg=-0.35,
)


def by_rays(defects, every):
    """Signed distance along the outward normal by intersecting each normal with the true polygon."""
    ring = shapely.LinearRing(true_outline_mm(TEASPOON, NOMINAL, defects))
    shapely.prepare(ring)
    values = []
    for point, normal in zip(NOMINAL.points_mm[::every], NOMINAL.normals[::every], strict=True):
        ray = shapely.LineString([point - 3.0 * normal, point + 3.0 * normal])
        hits = shapely.get_coordinates(ray.intersection(ring))
        along = (hits - point) @ normal
        values.append(along[np.argmin(np.abs(along))])
    return np.array(values)


def test_deviations_agree_with_rays_cast_on_the_polygon():
    # Every 37th of 11 900 vertices. The handle's end moves 0.5 mm along itself by the bend; bumps are as steep as 0.6.
    np.testing.assert_allclose(deviations_mm(TEASPOON, NOMINAL, FLAWS)[::37], by_rays(FLAWS, 37), atol=2e-5)


def test_measures_agree_with_extents_and_rays():
    measures = piece_measures(TEASPOON, NOMINAL, FLAWS)
    x = NOMINAL.points_mm[:, 0]
    values, at = by_rays(FLAWS, 3), x[::3]
    for name, (low, high) in {"bowl": (0.0, 46.0), "neck": (46.0, 58.0), "handle": (58.0, 135.0)}.items():
        inside = (at >= low) & (at < high) if name != "handle" else at >= low
        assert measures["outline_out_mm"][name] == pytest.approx(max(values[inside].max(), 0.0), abs=1e-3)
        assert measures["outline_in_mm"][name] == pytest.approx(max(-values[inside].min(), 0.0), abs=1e-3)
        assert measures["outline_rms_mm"][name] == pytest.approx(np.sqrt(np.mean(values[inside] ** 2)), abs=1e-4)
    shape = shapely.Polygon(true_outline_mm(TEASPOON, NOMINAL, FLAWS))
    left, _, right, _ = shape.bounds
    assert measures["length_mm"] == pytest.approx(right - left, abs=1e-9)
    # The bowl's width is the whole shape's, cut off at x = 46 (no bend there).
    bowl = shape.intersection(shapely.box(-5.0, -50.0, 46.0, 50.0))
    assert measures["width_mm"]["bowl"] == pytest.approx(bowl.bounds[3] - bowl.bounds[1], abs=1e-6)
    assert measures["bend_deg"] == -0.35


def test_even_growth_shows_everywhere_and_a_good_piece_shows_nothing():
    grown = piece_measures(TEASPOON, NOMINAL, Defects(growth_mm=0.03))
    assert grown["outline_out_mm"] == pytest.approx({"bowl": 0.03, "neck": 0.03, "handle": 0.03}, abs=1e-7)
    assert grown["length_mm"] == pytest.approx(135.06, abs=1e-4)
    good = piece_measures(TEASPOON, NOMINAL, Defects())
    assert good["outline_in_mm"] == {"bowl": 0.0, "neck": 0.0, "handle": 0.0}
    assert good["hole_offset_mm"] is None


def test_hole_truth_is_the_distance_from_the_drawing_and_the_signed_diameter_error():
    nominal = outline(DESSERT_SPOON)
    shifted = Defects(holes=(HoleError((0.3, -0.4), -0.12),))
    measures = piece_measures(DESSERT_SPOON, nominal, shifted)
    assert measures["hole_offset_mm"] == pytest.approx(0.5)
    assert measures["hole_diameter_error_mm"] == pytest.approx(-0.12)
    # A bend alone carries the hole along: chord of the arm from the neck's middle.
    bent = piece_measures(DESSERT_SPOON, nominal, Defects(bend_deg=0.5))
    assert bent["hole_offset_mm"] == pytest.approx(2.0 * (174.0 - 68.5) * np.sin(np.deg2rad(0.25)))


def test_findings_tell_where_a_bump_is_and_how_far_it_reaches():
    view = plain_view((3000, 800), 0.05)
    tray = Scene(TEASPOON, view, (Piece(TEASPOON, (70.0, -20.0), 180.0, FLAWS),))
    truth = tray_truth(tray, "T-1")
    burr, nick, swell, end, bend = truth["pieces"][0]["findings"]
    assert [burr["kind"], nick["kind"], swell["kind"], bend["kind"]] == ["burr", "nick", "swell", "bend"]
    assert burr["height_mm"] == 0.42
    assert burr["deviation_mm"] == pytest.approx(0.44, abs=1e-4)
    assert nick["zone"] == "handle"
    assert end["center_mm"] == pytest.approx([135.0, 0.0], abs=0.02)
    assert all(finding["seen"] for finding in (burr, nick, swell, end))
    # The burr's peak in the frame: on the silhouette's own edge.
    ring = shapely.LinearRing(to_px(view, piece_rings_mm(tray.pieces[0], NOMINAL)[0]))
    assert ring.distance(shapely.Point(burr["center_px"])) < 1e-6


@pytest.mark.parametrize("height", [0.0, 6.0])
def test_the_pose_is_where_the_camera_sees_the_centroid(height):
    view = perspective_view((3000, 2100), 0.05, 620.0)
    piece = Piece(TEASPOON, (60.0, -30.0), 30.0)
    tray = Scene(TEASPOON, view, (piece,), edge_height_mm=height)
    center, angle = pose_px(tray, piece, NOMINAL)
    stretch = 620.0 / (620.0 - height)
    assert center == pytest.approx([(75.0 - 15.0 * stretch) / 0.05, (52.5 - 22.5 * stretch) / 0.05])
    assert angle == pytest.approx(30.0)


@pytest.fixture(scope="module")
def crowded():
    return scene("crowd", TEASPOON, np.random.default_rng(7), 3)


def test_a_crowded_tray_says_what_each_thing_is(crowded):
    truth = tray_truth(crowded, "T-2")
    assert [piece["state"] for piece in truth["pieces"]] == ["touching", "touching", "whole"]
    assert truth["unmeasured"] == ["unlike", "cut_off"]
    kinds = [finding["kind"] for finding in truth["tray_findings"]]
    assert kinds == ["unlike", "cut_off", "touching", "foreign", "foreign"]
    assert truth["tray_findings"][2]["gap_mm"] < 0.0


def test_pieces_hide_each_other_only_where_they_touch(crowded):
    shares = [piece["hidden_share"] for piece in tray_truth(crowded, "T-2")["pieces"]]
    assert 0.0 < shares[0] < 0.3
    assert 0.0 < shares[1] < 0.3
    assert shares[2] == 0.0


def test_touching_pieces_become_one_silhouette_and_nothing_overlaps(crowded):
    areas = [polygon(silhouette.rings_px) for silhouette in silhouettes(crowded)]
    union = shapely.union_all(areas)
    assert union.area == pytest.approx(sum(area.area for area in areas), rel=1e-9)
    metal = [area for area in areas if area.area > 1e4]
    # Two that touch make one; one whole, one unlike, one cut off, a washer and a strip.
    assert len(metal) == 6
