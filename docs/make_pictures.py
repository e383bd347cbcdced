"""Make the pictures of README and docs anew: judge the demo's trays and keep what shows best, small.

    .venv/bin/python docs/make_pictures.py

Needs the tests' environment and Debian's Chromium, which turns the sheets (SVG) into JPEG.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np
from playwright.sync_api import sync_playwright

from synthetic_images.outlines.families import back_frame
from synthetic_images.outlines.optics import Backlight
from synthetic_images.outlines.scene import Piece, Scene
from synthetic_images.outlines.view import plain_view
from synthetic_images.spoons import PATTERNS

PICTURES = Path(__file__).resolve().parent / "pictures"
CHROMIUM = "/usr/bin/chromium"
WIDTH_PX = 1240
JPEG_QUALITY = 82


def main() -> None:
    """Judge, choose, draw."""
    with tempfile.TemporaryDirectory() as scratch:
        demo = Path(scratch) / "demo"
        subprocess.run([Path(sys.executable).with_name("brightbowl"), "demo", "--out", demo], check=True)
        results = sorted(demo.glob("results/*/*/*/*/result.json"))
        shrink(most_findings(results).with_name("tray.jpg"), PICTURES / "crowd.jpg")
        piece = sheet_with(results, "piece-*[0-9].svg")
        shrink(piece.with_name("tray.jpg"), PICTURES / "tray.jpg")
        photograph(piece, PICTURES / "piece.jpg")
        photograph(sheet_with(results, "piece-*-face.svg"), PICTURES / "face.jpg")
    draw_bands(PICTURES / "rim-bands.jpg")


def draw_bands(target: Path) -> None:
    """The tip of one bowl with a rim of 0.6 mm before backlights of 5, 30 and 75 degrees, 10 px of picture a px."""
    tiles: list[np.ndarray] = []
    first = 0
    for half_deg in (5.0, 30.0, 75.0):
        pattern = PATTERNS["TS-135"]
        view = plain_view((3000, 800), 0.05)
        piece = Piece(pattern, (75.0, -20.0), 0.0, rim_radius_mm=(0.6,) * 4)
        light = Backlight(half_angle_deg=half_deg)
        frame = back_frame(Scene(pattern, view, (piece,), backlight=light), np.random.default_rng(1))
        row = frame.shape[0] // 2
        # The same place of all three, as the true edge is.
        first = first or int(np.flatnonzero(frame[row] < 128)[0])
        crop = frame[row - 15 : row + 15, first - 15 : first + 25]
        tile = cv2.resize(crop, None, fx=10, fy=10, interpolation=cv2.INTER_NEAREST)
        words = f"{half_deg:.0f} degrees"
        tiles.append(cv2.putText(tile, words, (14, 30), cv2.FONT_HERSHEY_SIMPLEX, 0.7, 0, 2, cv2.LINE_AA))
    cv2.imwrite(str(target), np.hstack(tiles), [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])


def most_findings(results: list[Path]) -> Path:
    """The tray of which most is told: findings of pieces, and of the tray, which count more."""

    def told(path: Path) -> int:
        tray = json.loads(path.read_text())
        return sum(len(piece["findings"]) for piece in tray["pieces"]) + 3 * len(tray["tray_findings"])

    backlit = [path for path in results if not list(path.parent.glob("*-face.svg"))]
    return max(backlit, key=told)


def sheet_with(results: list[Path], pattern: str) -> Path:
    """The sheet of this kind that tells most, the first of equals."""
    sheets = [sheet for path in results for sheet in sorted(path.parent.glob(pattern))]
    return max(sheets, key=lambda sheet: sheet.read_text().count("<text"))


def shrink(source: Path, target: Path) -> None:
    """A picture at the width of the docs."""
    image = cv2.imread(str(source))
    assert image is not None, source
    size = (WIDTH_PX, round(image.shape[0] * WIDTH_PX / image.shape[1]))
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    cv2.imwrite(str(target), small, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])


def photograph(source: Path, target: Path) -> None:
    """A drawing as a browser shows it."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, chromium_sandbox=False)
        page = browser.new_page(viewport={"width": WIDTH_PX, "height": 800})
        page.goto(source.as_uri())
        page.locator("svg").first.screenshot(path=target, type="jpeg", quality=JPEG_QUALITY)
        browser.close()


if __name__ == "__main__":
    main()
