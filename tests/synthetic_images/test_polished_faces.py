"""Front-lit frames: marks lie where truth says, show as their lights make them, and leave the rest as it was."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from synthetic_images.faces.finish import Disturber, Finish, disturbance, micro_surface, random_finish
from synthetic_images.faces.frames import Face, FrontLight, front_light, prepare, standard_lights
from synthetic_images.faces.grid import Grid
from synthetic_images.faces.marks import Crater, Groove, crater_patch, groove_patch, random_marks
from synthetic_images.faces.truth import face_truth, scored_area
from synthetic_images.outlines.families import random_face
from synthetic_images.outlines.scene import Piece, Scene, tray_mm
from synthetic_images.outlines.view import plain_view, to_px
from synthetic_images.spoons import DESSERT_SPOON, TEASPOON, centroid_mm, outline

SCALE = 0.1
VIEW = plain_view((1460, 400), SCALE)
CENTROID = centroid_mm(outline(TEASPOON).points_mm)
MIDDLE = (float(CENTROID[0]) + 5.0, -20.0)
STRAIGHT, TURNED = Piece(TEASPOON, MIDDLE, 0.0), Piece(TEASPOON, (85.0, -20.0), 178.5)
QUIET = Finish(lines=0.0, slope=0.0, peel_slope=0.0)


def line(start, end, width=0.15, strength=0.8):
    points = np.linspace(start, end, 12)
    return Groove(points, width, strength)


def lit(face, light, seed=0):
    """Light on the sensor with and without marks, and the truth told of it."""
    tray = Scene(TEASPOON, VIEW, (face.piece,))
    ready = prepare(tray, face, np.random.default_rng(seed))
    frames = front_light(tray, [ready], light)
    return *frames, face_truth(tray, [face], [ready], [frames])[0]


@pytest.mark.parametrize("piece", [STRAIGHT, TURNED], ids=["straight", "turned"])
def test_marks_change_the_frame_where_truth_says_and_nowhere_else(piece):
    face = Face(piece, QUIET, (line((18.0, 2.0), (24.0, 4.0)),), (Crater((27.0, -3.0), 0.6, 0.9),))
    marked, clean, truth = lit(face, FrontLight("low", 0.0, 25.0))
    rows, columns = np.nonzero(np.abs(marked - clean) > 1e-6)
    changed = shapely.points(np.column_stack((columns, rows)))
    marks = shapely.union_all(
        [shapely.LineString(truth["scratches"][0]["points_px"]), shapely.Point(truth["pits"][0]["center_px"])]
    )
    # Half the pit's diameter and the blur's reach: 3 px and 4 px.
    assert shapely.distance(changed, marks).max() < 8.0
    for point in [*truth["scratches"][0]["points_px"][1:-1], truth["pits"][0]["center_px"]]:
        assert shapely.distance(changed, shapely.Point(point)).min() < 1.5
    assert truth["kind"] == "both"


@pytest.mark.parametrize(("azimuth", "shows"), [(0.0, False), (90.0, True)])
def test_a_scratch_along_x_lights_up_across_y(azimuth, shows):
    # On the floor of the bowl, level there: only a light across the groove finds its facets.
    face = Face(STRAIGHT, QUIET, (line((23.0, 0.0), (27.0, 0.0)),))
    marked, clean, truth = lit(face, FrontLight("low", azimuth, 25.0))
    u, v = np.rint(truth["scratches"][0]["points_px"][6]).astype(int)
    assert (marked[v, u] > clean[v, u]) == shows


@pytest.mark.parametrize("azimuth", [0.0, 90.0, 180.0, 270.0])
def test_the_bright_side_of_a_pit_turns_with_the_light(azimuth):
    face = Face(STRAIGHT, QUIET, craters=(Crater((25.0, 0.0), 1.2, 0.9),))
    marked, clean, truth = lit(face, FrontLight("low", azimuth, 30.0))
    u, v = truth["pits"][0]["center_px"]
    rows, columns = np.mgrid[0 : marked.shape[0], 0 : marked.shape[1]]
    near = np.hypot(columns - u, rows - v) < 8.0
    gain = np.where(near, np.maximum(marked - clean, 0.0), 0.0)
    side = np.array([np.sum(gain * (columns - u)), -np.sum(gain * (rows - v))]) / gain.sum()
    # A hollow mirrors the light from its far wall.
    away = -np.array([np.cos(np.deg2rad(azimuth)), np.sin(np.deg2rad(azimuth))])
    assert side @ away > 0.9 * np.hypot(*side) > 0.5


def test_the_bowls_own_reflection_lies_opposite_the_light():
    for azimuth, left in ((0.0, True), (180.0, False)):
        _, clean, _ = lit(Face(STRAIGHT, QUIET), FrontLight("low", azimuth, 25.0))
        bowl = clean[100:300, 50:500]
        middle = np.sum(np.arange(450) * (bowl > 1.0).sum(axis=0)) / (bowl > 1.0).sum()
        assert (middle < 225) == left


def test_a_face_without_marks_is_clean():
    marked, clean, truth = lit(Face(STRAIGHT, QUIET), FrontLight("dome"))
    np.testing.assert_array_equal(marked, clean)
    assert (truth["kind"], truth["scratches"], truth["pits"]) == ("clean", [], [])


def test_stronger_marks_are_told_as_easier_to_see():
    faces = [
        Face(STRAIGHT, replace(QUIET, slope=0.004, lines=0.3), (line((18.0, 2.0), (22.0, 5.0), 0.15, strength),))
        for strength in (0.2, 0.4)
    ]
    weak, strong = (lit(face, FrontLight("low", 90.0, 25.0))[2]["scratches"][0]["snr"] for face in faces)
    # Twice the light on the same finish: twice the snr.
    assert strong == pytest.approx(2.0 * weak, rel=0.01)


def test_only_what_lies_in_the_scored_area_is_scored():
    face = Face(
        STRAIGHT,
        QUIET,
        (line((20.0, 0.0), (25.0, 3.0)), line((90.0, 0.0), (95.0, 2.0))),
        (Crater((30.0, 0.0), 0.3, 0.5), Crater((0.8, 0.0), 0.3, 0.5)),
    )
    truth = lit(face, FrontLight("dome"))[2]
    assert [mark["scored"] for mark in truth["scratches"]] == [True, False]
    assert [mark["scored"] for mark in truth["pits"]] == [True, False]
    assert truth["scratches"][0]["length_mm"] == pytest.approx(np.hypot(5.0, 3.0))


def test_the_scored_area_keeps_clear_of_outline_and_span():
    area = scored_area(TEASPOON)
    assert area.bounds[0] == pytest.approx(1.5, abs=0.01)
    assert area.bounds[2] == 44.0
    assert shapely.LinearRing(outline(TEASPOON).points_mm).distance(area) == pytest.approx(1.5, abs=0.01)
    assert scored_area(DESSERT_SPOON).bounds[2] == 59.0


def test_drawing_and_frame_agree_on_every_pixel():
    nominal = outline(TEASPOON)
    origin = tray_mm(TURNED, np.zeros((1, 2)), nominal)[0]
    grid = Grid(100, 40, (60, 90), SCALE, (float(origin[0]), float(origin[1])), np.deg2rad(178.5))
    x, y = grid.drawing_mm(grid.whole)
    back = to_px(VIEW, tray_mm(TURNED, np.column_stack((x.ravel(), y.ravel())), nominal))
    rows, columns = np.mgrid[40:100, 100:190]
    np.testing.assert_allclose(back, np.column_stack((columns.ravel(), rows.ravel())), atol=1e-3)
    window = grid.window(np.array([[x[30, 50], y[30, 50]]]), 0.3)
    # All within 3 px of row 30, column 50, and little more.
    for span, middle in zip(window, (30, 50), strict=True):
        assert middle - 6 < span.start <= middle - 3
        assert middle + 4 <= span.stop < middle + 8


@pytest.mark.parametrize("angle", [0.0, 23.0, 45.0])
def test_a_scratch_covers_its_length_times_its_width(angle):
    grid = Grid(0, 0, (400, 400), 0.05, (0.0, 0.0), 0.0)
    turn = np.deg2rad(angle)
    end = np.array([3.0, -10.0]) + 8.0 * np.array([np.cos(turn), np.sin(turn)])
    patch = groove_patch(line((3.0, -10.0), end, 0.12, 0.5), grid)
    # Half a disc at each end is counted too (2 %), and a pixel's diagonal is taken for its side (4 % at 45 degrees).
    assert patch.share.sum() * 0.05**2 == pytest.approx(8.0 * 0.12 * 0.5, rel=0.07)


def test_a_pit_covers_its_disc():
    grid = Grid(0, 0, (100, 100), 0.05, (0.0, 0.0), 0.0)
    patch = crater_patch(Crater((2.51, -2.48), 0.5, 0.8), grid)
    assert patch.share.sum() * 0.05**2 == pytest.approx(0.8 * np.pi * 0.25**2, rel=0.02)


def test_the_finish_has_the_slopes_and_the_direction_it_was_given():
    finish = Finish(slope=0.01, lines=0.3, direction_deg=20.0, peel_slope=0.0)
    slopes, facets = micro_surface(finish, (600, 800), 0.05, 0.0, np.random.default_rng(4))
    turn = np.deg2rad(20.0)
    across = -np.sin(turn) * slopes.x + np.cos(turn) * slopes.y
    along = np.cos(turn) * slopes.x + np.sin(turn) * slopes.y
    # The field has unit variance over a slightly larger box; few streaks fit along it.
    assert across.std() == pytest.approx(0.01, rel=0.1)
    assert np.abs(along).max() < 1e-7
    assert facets.direction == pytest.approx((np.cos(turn), np.sin(turn)))
    peeled, _ = micro_surface(
        replace(finish, slope=0.0, peel_slope=0.012), (600, 800), 0.05, 0.0, np.random.default_rng(4)
    )
    assert np.sqrt(np.mean(peeled.x**2 + peeled.y**2)) == pytest.approx(0.012, rel=0.1)


def test_disturbers_add_haze_or_grain_where_they_lie():
    grid = Grid(0, 0, (600, 600), 0.05, (0.0, 0.0), 0.0)
    drop = Disturber("drop", (10.0, -10.0), 0.02, radius_mm=2.0, ring_mm=0.3)
    grain = Disturber("dust", (20.0, -20.0), 0.5, diameter_mm=0.08)
    smear = Disturber("smear", (22.0, -8.0), 0.01, size_mm=(6.0, 5.0), turn_deg=30.0, period_mm=0.5)
    haze, grains = disturbance((drop, grain, smear), grid)
    assert haze[200, 240] == pytest.approx(0.02, rel=1e-3)
    assert haze[200, 200] < 1e-6
    assert haze[150:170, 430:450].max() > 0.008
    assert haze.max() <= 0.0201
    assert grains.sum() * 0.05**2 == pytest.approx(0.5 * np.pi * 0.04**2, rel=0.01)
    assert np.unravel_index(grains.argmax(), grains.shape) == (400, 400)


def test_random_marks_keep_clear_of_one_another_and_inside_the_bowl():
    grooves, craters = random_marks(46.0, 15.0, (3, 5), np.random.default_rng(8))
    shapes = [*(shapely.LineString(g.points_mm) for g in grooves), *(shapely.Point(c.center_mm) for c in craters)]
    assert (len(grooves), len(craters)) == (3, 5)
    gaps = [a.distance(b) for i, a in enumerate(shapes) for b in shapes[:i]]
    assert min(gaps) > 1.0
    assert shapely.union_all(shapes).bounds[0] > 0.0


def test_one_seed_draws_one_face():
    first, again, other = (random_face(STRAIGHT, np.random.default_rng(seed), 1.0) for seed in (5, 5, 6))
    assert (first.finish, first.craters, first.disturbers) == (again.finish, again.craters, again.disturbers)
    assert first.finish != other.finish
    assert random_finish(np.random.default_rng(1)) == random_finish(np.random.default_rng(1))


def test_the_standard_lights_are_a_dome_and_four_bars():
    lights = standard_lights(15.0)
    assert [light.light for light in lights] == ["dome", "low", "low", "low", "low"]
    assert [light.azimuth_deg for light in lights[1:]] == [0.0, 90.0, 180.0, 270.0]
    assert {light.elevation_deg for light in lights[1:]} == {15.0}
