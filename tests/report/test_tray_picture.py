"""The picture of the whole tray."""

from dataclasses import replace

import numpy as np

from app.report.style import ACCENT, bgr
from app.report.tray_picture import BAND_PX, WIDTH_PX, Colour, draw_tray
from tests.report import made
from vision.records.inputs import Picture, TrayPictures
from vision.records.measured import MeasuredTray, TrayFinding


def accent_near(image: Colour, at: tuple[float, float], reach_px: int = 40) -> int:
    """How many pixels of the accent's own colour lie about a place of the frame."""
    scale = WIDTH_PX / 840
    u, v = round(at[0] * scale), round(at[1] * scale) + BAND_PX
    near = image[max(v - reach_px, 0) : v + reach_px, max(u - reach_px, 0) : u + reach_px]
    return int((near == np.array(bgr(ACCENT), np.uint8)).all(axis=2).sum())


def test_the_accent_marks_flagged_pieces_and_findings_only() -> None:
    image = draw_tray(made.tray())
    assert image.shape == (round(700 * WIDTH_PX / 840) + BAND_PX, WIDTH_PX, 3)
    ends = made.to_px(np.array([[60.0, 0.0]]), (0.0, 0.0))[0]
    at_end = [accent_near(image, (x + ends[0], y + ends[1])) for x, y in made.CENTERS_PX]
    assert at_end[0] == 0
    assert min(at_end[1:]) > 50
    assert accent_near(image, (120.0, 60.0)) > 50


def test_a_hidden_stretch_is_not_outlined() -> None:
    inspected = made.tray()
    image = draw_tray(inspected)
    third = inspected.measured.pieces[2].profile
    assert third is not None
    hidden, seen = third.nominal_px[650], third.nominal_px[1400]
    assert accent_near(image, (float(hidden[0]), float(hidden[1])), 15) == 0
    assert accent_near(image, (float(seen[0]), float(seen[1])), 15) > 0


def test_pieces_without_an_outline_are_labelled_and_those_without_a_place_do_no_harm() -> None:
    inspected = made.tray()
    bare = tuple(replace(piece, profile=None) for piece in inspected.measured.pieces)
    placed = draw_tray(replace(inspected, measured=MeasuredTray(bare)))
    lost = tuple(replace(piece, pose=None) for piece in bare)
    plain = draw_tray(replace(inspected, measured=MeasuredTray(lost)))
    assert accent_near(placed, made.CENTERS_PX[1]) > 50
    assert accent_near(plain, made.CENTERS_PX[1]) == 0


def test_findings_at_the_very_edge_and_without_a_place_are_drawn() -> None:
    inspected = made.tray()
    told = (TrayFinding("cut_off", (0.0, 699.0), ""), TrayFinding("focus", None, "edges are 3 px wide"))
    image = draw_tray(replace(inspected, result=replace(inspected.result, tray_findings=told)))
    plain = draw_tray(replace(inspected, result=replace(inspected.result, tray_findings=())))
    assert accent_near(image, (0.0, 690.0)) > 20
    assert (image[:BAND_PX] != plain[:BAND_PX]).any()


def test_a_deep_frame_looks_like_its_8_bit_twin() -> None:
    inspected = made.tray()
    deep = (inspected.pictures.back.pixels.astype(np.float64) * 4095 / 255).round().astype(np.uint16)
    twin = replace(inspected, pictures=TrayPictures(Picture("back", None, deep, 4095.0)))
    difference = np.abs(draw_tray(inspected).astype(int) - draw_tray(twin).astype(int))
    assert difference.max() <= 1
