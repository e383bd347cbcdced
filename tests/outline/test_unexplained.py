"""The backlit frame held against what was measured: light in the metal, things at the rim, and what was seen."""

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from synthetic_images.outlines.optics import Silhouette
from tests.outline.blank import EGG, LEANING, LIMITS, STATION, part, pictures, to_px
from vision.pipeline import inspect_tray
from vision.records.inputs import Array, Limits, Picture, TrayPictures
from vision.records.judged import JudgedPiece
from vision.records.measured import Opening, Stray

RIM = 9.0  # height of the blank's outline at x = 20


def judged(shown: TrayPictures, outline: Array = EGG) -> JudgedPiece:
    _, (piece,) = inspect_tray(shown, part(outline), STATION, LIMITS)
    return piece


def slab(center: tuple[float, float], width: float, length: float, turn_deg: float = 0.0) -> Array:
    """A rectangle in drawing mm, counter-clockwise, its length along x before it is turned."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    corners = 0.5 * np.array([[-length, -width], [length, -width], [length, width], [-length, width]])
    return corners @ np.array([[c, s], [-s, c]]) + center


def of_zone(piece: JudgedPiece, measure: str) -> float:
    values = piece.measures[measure]
    assert isinstance(values, dict)
    value = values["body"]
    assert value is not None
    return float(value)


def test_a_good_piece_leaves_nothing() -> None:
    piece = judged(pictures())
    assert (piece.verdict, piece.fault) == ("pass", None)
    assert piece.findings == ()
    assert piece.measures["opening_area_mm2"] == 0.0
    assert of_zone(piece, "outline_seen") == 1.0
    assert of_zone(piece, "outline_unseen_mm") == 0.0


@pytest.mark.parametrize("diameter", [0.2, 1.0, 6.0])
def test_a_hole_is_an_opening_of_its_own_area(diameter: float) -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    hole = np.column_stack((22.0 + diameter / 2 * np.cos(turn), 1.0 + diameter / 2 * np.sin(turn)))
    piece = judged(pictures(holes=[hole]))
    (found,) = piece.findings
    assert isinstance(found, Opening)
    area = np.pi * diameter**2 / 4
    assert found.area_mm2 == pytest.approx(area, rel=0.06, abs=0.003)
    assert found.center_mm == pytest.approx((22.0, 1.0), abs=0.05)
    assert piece.verdict == "reject"
    assert [one.measure for one in piece.reasons] == ["opening_area_mm2"]


@pytest.mark.parametrize("width", [0.02, 0.05, 0.2])
def test_a_slit_thinner_than_a_pixel_is_told_with_its_width(width: float) -> None:
    piece = judged(pictures(holes=[slab((20.0, 0.0), width, 5.0, 35.0)]))
    (found,) = piece.findings
    assert isinstance(found, Opening)
    assert found.area_mm2 == pytest.approx(5.0 * width, rel=0.12)
    assert found.length_mm == pytest.approx(5.0, abs=0.25)
    assert piece.verdict == "reject"


@pytest.mark.parametrize("width", [0.03, 0.1, 0.2])
def test_a_crack_from_the_rim_does_not_pass(width: float) -> None:
    import shapely

    cut = shapely.Polygon(EGG).difference(shapely.Polygon(slab((20.0, RIM), width, 6.0, 90.0)))
    piece = judged(pictures(outline=np.asarray(cut.exterior.coords)[:-1]))
    assert piece.verdict == "reject"
    value = piece.measures["opening_area_mm2"]
    assert isinstance(value, float)
    assert value == pytest.approx(2.8 * width, rel=0.35)


@pytest.mark.parametrize(("width", "reach"), [(0.05, 0.6), (0.16, 1.5), (0.3, 3.0)])
def test_a_whisker_that_joins_the_metal_counts_with_its_true_reach(width: float, reach: float) -> None:
    import shapely

    whisker = shapely.Polygon(slab((20.0, RIM + reach / 2 - 0.25), width, reach + 0.5, 90.0))
    whole = shapely.Polygon(EGG).union(whisker)
    piece = judged(pictures(outline=np.asarray(whole.exterior.coords)[:-1]))
    assert of_zone(piece, "outline_out_mm") == pytest.approx(reach, abs=0.1)  # two pixels
    strays = [one for one in piece.findings if isinstance(one, Stray)]
    assert {one.joins for one in strays} == {True}
    assert piece.verdict == "reject"


def test_lint_across_the_rim_is_left_to_a_person() -> None:
    hair = Silhouette((to_px(slab((20.0, RIM + 2.51), 0.06, 5.0, 90.0)),), 0.8)
    piece = judged(pictures(beside=[hair]))
    assert piece.verdict == "review"
    assert piece.fault == "stray"
    assert of_zone(piece, "outline_out_mm") < 0.02


def test_what_hides_the_rim_is_measured_and_judged_by_default() -> None:
    shade = Silhouette((to_px(slab((20.0, RIM + 0.3), 0.55, 4.0)),), 0.5)
    piece = judged(pictures(beside=[shade]))
    assert of_zone(piece, "outline_unseen_mm") == pytest.approx(4.0, abs=0.8)
    assert of_zone(piece, "outline_seen") == pytest.approx(1.0 - 4.0 / 101.0, abs=0.01)
    assert piece.verdict == "review"
    assert "outline_unseen_mm" in [one.measure for one in piece.reasons]


def test_dust_beside_the_rim_hides_nothing() -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False)
    grain = np.column_stack((20.0 + 0.2 * np.cos(turn), RIM + 0.6 + 0.2 * np.sin(turn)))
    piece = judged(pictures(beside=[Silhouette((to_px(grain),))]))
    assert (piece.verdict, piece.findings) == ("pass", ())


def test_a_piece_on_its_face_is_told_where_its_outline_can_tell() -> None:
    measured, pieces = inspect_tray(pictures(outline=LEANING * (1.0, -1.0)), part(LEANING), STATION, LIMITS)
    assert [one.fault for one in pieces] == ["face_down"]
    assert pieces[0].pose is None
    assert [one.kind for one in measured.findings] == ["face_down"]
    assert judged(pictures(outline=LEANING), LEANING).verdict == "pass"


@pytest.mark.parametrize(("share", "told"), [(0.015, True), (-0.02, True), (0.0005, False)])
def test_a_wrong_scale_is_told_and_even_growth_is_not(share: float, told: bool) -> None:
    middle = np.array([20.0, 0.0])
    measured, _ = inspect_tray(pictures(outline=(EGG - middle) * (1 + share) + middle), part(), STATION, LIMITS)
    assert [one.kind for one in measured.findings] == (["scale"] if told else [])
    assert {one.fault for one in measured.pieces} == ({"scale"} if told else {None})


def test_even_growth_is_no_wrong_scale() -> None:
    import shapely

    grown = np.asarray(shapely.Polygon(EGG).buffer(0.12, quad_segs=64).exterior.coords)[:-1]
    measured, _ = inspect_tray(pictures(outline=grown), part(), STATION, LIMITS)
    assert measured.findings == ()


@pytest.mark.parametrize("power", [0.45, 0.6, 0.8, 1.3, 1.8, 2.2])
def test_counts_that_do_not_follow_the_light_are_told_in_numbers(power: float) -> None:
    measured, pieces = inspect_tray(pictures(power=power), part(), STATION, LIMITS)
    (finding,) = measured.findings
    assert finding.kind == "response"
    assert ("exponent of about" in finding.detail) == (power < 0.7 or power > 2.0)
    assert ("unevenly often" in finding.detail) == (power > 0.5)
    assert [one.fault for one in pieces] == ["response"]


# How cameras encode light: a power, sRGB (IEC 61966-2-1), video (ITU-R BT.709).
ENCODINGS: dict[str, Callable[[Array], Array]] = {
    "0.45": lambda x: x**0.45,
    "0.6": lambda x: x**0.6,
    "sRGB": lambda x: np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055),
    "BT.709": lambda x: np.where(x < 0.018, 4.5 * x, 1.099 * x**0.45 - 0.099),
}


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("encoding", ENCODINGS)
def test_light_that_a_camera_encodes_before_it_rounds_is_told(encoding: str, bits: int) -> None:
    measured, pieces = inspect_tray(pictures(encoded=ENCODINGS[encoding], bits=bits), part(), STATION, LIMITS)
    (finding,) = measured.findings
    assert finding.kind == "response"
    assert "exponent of about" in finding.detail
    assert [one.fault for one in pieces] == ["response"]


@pytest.mark.parametrize("bits", [8, 16])
def test_a_camera_that_rounds_without_encoding_is_told_nothing(bits: int) -> None:
    measured, _ = inspect_tray(pictures(encoded=lambda x: x, bits=bits), part(), STATION, LIMITS)
    assert measured.findings == ()


def test_a_sensor_of_fewer_bits_in_a_wider_frame_is_no_bent_response() -> None:
    back = pictures().back
    wide = Picture("back", None, (back.pixels.astype(np.uint16) << 8) | back.pixels, 65535.0, "back.png")
    measured, _ = inspect_tray(TrayPictures(wide), part(), STATION, LIMITS)
    assert measured.findings == ()


@pytest.mark.parametrize("shift", [1, -2, 6])
def test_a_torn_frame_is_told_with_its_row_and_shift(shift: int) -> None:
    back = pictures().back
    pixels = back.pixels.copy()
    pixels[300:] = np.roll(pixels[300:], shift, axis=1)
    measured, pieces = inspect_tray(TrayPictures(replace(back, pixels=pixels)), part(), STATION, LIMITS)
    (finding,) = measured.findings
    said = re.fullmatch(r"back.png: torn at row ([0-9]+): .* by ([+-][0-9.]+) px to the right.*", finding.detail)
    assert said is not None
    assert int(said[1]) == pytest.approx(300, abs=15)
    assert float(said[2]) == pytest.approx(shift, abs=0.3)
    assert (finding.kind, pieces[0].fault) == ("moved", "moved")


def test_a_step_on_both_sides_of_a_piece_is_its_own() -> None:
    outline = EGG.copy()
    outline[EGG[:, 0] > 22.0] *= (1.0, 1.02)
    measured, _ = inspect_tray(pictures(outline=outline), part(), STATION, LIMITS)
    assert measured.findings == ()


def test_a_works_may_let_more_go_unseen() -> None:
    from vision.decide.verdicts import rejudge
    from vision.records.inputs import Limit

    shade = Silhouette((to_px(slab((20.0, RIM + 0.3), 0.55, 4.0)),), 0.5)
    piece = judged(pictures(beside=[shade]))
    own = Limits("TS-135", 2, "released", 0.95, (*LIMITS.limits, Limit("outline_unseen_mm", "minor", max=9.0)))
    assert "outline_unseen_mm" not in [one.measure for one in rejudge(piece, own).reasons]
