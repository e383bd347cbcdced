"""The sheet of a polished face."""

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np

from app.report.face_picture import LEAST_SPREAD, draw_face_sheet, front_lights, light_words, marked, stretched
from app.report.finding_tags import LETTERS
from app.report.inspected import Inspected
from app.report.style import ACCENT
from tests.report import made
from vision.records.inputs import Picture, Surface, TrayPictures
from vision.records.judged import JudgedPiece
from vision.records.measured import DeviationProfile, Finding, Pit, Scratch, Speck

SVG = "{http://www.w3.org/2000/svg}"


def pit(x: float, snr: float) -> Pit:
    px = made.to_px(np.array([[x, 1.0]]), made.CENTERS_PX[1])[0]
    return Pit((float(px[0]), float(px[1])), (x, 1.0), 0.4, snr)


def scratch() -> Scratch:
    mm = np.array([[8.0, -2.0], [9.0, -1.5], [10.0, -1.0]])
    px = made.to_px(mm, made.CENTERS_PX[1])
    pairs = [tuple((float(x), float(y)) for x, y in points) for points in (px, mm)]
    return Scratch(pairs[0], pairs[1], 2.2, 0.1, 20.0)


def faced(findings: tuple[Finding, ...], counted: tuple[bool, ...]) -> tuple[Inspected, JudgedPiece, DeviationProfile]:
    """The tray with a dome and two low lights, whose second piece has findings on its face."""
    one = made.tray()
    light = np.full((700, 840), 90, np.uint8)
    pictures = TrayPictures(
        one.pictures.back,
        Picture("dome", None, light, 255.0),
        (Picture("low", 0.0, light, 255.0), Picture("low", 90.0, light, 255.0)),
    )
    part = replace(one.part, surface=Surface((0.0, 30.0), 1.0))
    profile = one.measured.pieces[1].profile
    assert profile is not None
    judged = replace(one.result.pieces[1], findings=findings, counted=counted)
    return replace(one, pictures=pictures, part=part), judged, profile


def test_every_lettered_finding_gets_a_strip_with_every_light() -> None:
    sheet = draw_face_sheet(
        *faced((pit(5.0, 9.0), scratch(), Speck((0, 0), (3.0, 0.0), 0.1, 30.0)), (False, True, False))
    )
    assert sheet is not None
    root = ElementTree.fromstring(sheet)
    words = [one.text or "" for one in root.iter(f"{SVG}text")]
    assert words.count("A") == words.count("B") == 2  # in the drawing and at its strip; the speck has neither
    assert "C" not in words
    assert [w for w in words if w in ("counts", "does not count")] == ["counts", "does not count"]
    assert [w for w in words if w == "dome" or w[:3] == "low"][:3] == [
        "dome",
        "low light from 0°",
        "low light from 90°",
    ]
    assert len(list(root.iter(f"{SVG}image"))) == 1 + 2 * 3


def strips_of(sheet: str) -> tuple[list[tuple[float, float, str]], list[tuple[float, float]]]:
    """Words left of the strips' pictures and where they stand; the corners of those pictures; px."""
    root = ElementTree.fromstring(sheet)
    pictures = [one for one in root.iter(f"{SVG}g") if one.find(f"{SVG}image") is not None][1:]
    corners = [tuple(map(float, one.get("transform", "")[len("translate(") : -1].split())) for one in pictures]
    words = [(float(one.get("x", "")), float(one.get("y", "")), one.text or "") for one in root.iter(f"{SVG}text")]
    top = min(y for _, y in corners)
    return [one for one in words if one[0] == 54.0 and one[1] > top], [(x, y) for x, y in corners]


def test_words_of_a_finding_end_before_its_first_picture_and_before_the_next_strip() -> None:
    strong, sure = replace(scratch(), snr=79.1, probability=0.93), replace(pit(5.0, 60.0), probability=0.5)
    sheet = draw_face_sheet(*faced((strong, sure), (True, True)))
    assert sheet is not None
    words, corners = strips_of(sheet)
    assert " ".join(line for _, _, line in words).count("times stronger than the finish around it") == 2
    first = min(x for x, _ in corners)
    assert max(x + 8.7 * len(line) for x, _, line in words) < first  # a wide face's mean letter at 15 px
    tops = sorted({y for _, y in corners})
    assert len(tops) == 2
    assert max(y for _, y, line in words if line in ("counts", "does not count") and y < tops[1]) < tops[1] - 5.0


def test_what_counts_is_in_the_accent_and_what_does_not_is_hollow() -> None:
    sheet = draw_face_sheet(*faced((pit(5.0, 9.0), pit(9.0, 8.0)), (True, False)))
    assert sheet is not None
    discs = [one for one in ElementTree.fromstring(sheet).iter(f"{SVG}circle") if one.get("r") != "11.0"]
    assert sorted(one.get("fill", "") for one in discs) == [ACCENT, "none"]


def test_findings_are_drawn_where_the_drawing_has_them() -> None:
    sheet = draw_face_sheet(*faced((pit(5.0, 9.0), pit(9.0, 8.0)), (True, True)))
    assert sheet is not None
    discs = [one for one in ElementTree.fromstring(sheet).iter(f"{SVG}circle") if one.get("r") != "11.0"]
    (x, y), (other_x, other_y) = sorted((float(one.get("cx", "")), float(one.get("cy", ""))) for one in discs)
    px_per_mm = (1200 - 20) / 2 / 34.0  # half the sheet for 30 mm of the drawing and a margin of 2 mm
    assert abs((other_x - x) - 4.0 * px_per_mm) < 0.3
    assert y == other_y


def test_no_sheet_without_front_light_scored_area_or_findings() -> None:
    inspected, judged, profile = faced((pit(5.0, 9.0),), (True,))
    dark = replace(inspected, pictures=TrayPictures(inspected.pictures.back))
    unscored = replace(inspected, part=replace(inspected.part, surface=None))
    clean = replace(judged, findings=(Speck((0, 0), (3.0, 0.0), 0.1, 30.0),), counted=(False,))
    assert draw_face_sheet(dark, judged, profile) is None
    assert draw_face_sheet(unscored, judged, profile) is None
    assert draw_face_sheet(inspected, clean, profile) is None


def test_what_counts_comes_first_then_the_strongest_and_the_first_are_lettered() -> None:
    findings = tuple(pit(1.0 + k, 6.0 + k) for k in range(12))
    counted = tuple(k < 3 for k in range(12))
    marks = marked(replace(made.tray().result.pieces[1], findings=findings, counted=counted))
    assert [mark.finding.snr for mark in marks] == [8.0, 7.0, 6.0, *(17.0 - k for k in range(9))]
    assert "".join(mark.letter for mark in marks) == LETTERS


def test_stretching_shows_weak_contrast_but_not_noise() -> None:
    ramp = np.tile(np.arange(100, 200, dtype=np.uint8), (10, 1))
    assert stretched(ramp, ramp).min() == 0
    assert stretched(ramp, ramp).max() == 255
    flat = np.full((10, 10), 3, np.uint8)
    flat[0, 0] = 4
    assert np.ptp(stretched(flat, flat)) <= 255 / LEAST_SPREAD + 1
    for level in (0, 255):
        even = np.full((4, 4), level, np.uint8)
        assert (stretched(even, even) == level).all()


def test_lights_are_named_the_dome_first() -> None:
    inspected, _, _ = faced((), ())
    assert [light_words(light) for light in front_lights(inspected.pictures)] == [
        "dome",
        "low light from 0°",
        "low light from 90°",
    ]
