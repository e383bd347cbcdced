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
from playwright.sync_api import sync_playwright

PICTURES = Path(__file__).resolve().parent / "pictures"
CHROMIUM = "/usr/bin/chromium"
WIDTH_PX = 1240
JPEG_QUALITY = 82


def main() -> None:
    """Judge, choose, draw."""
    with tempfile.TemporaryDirectory() as scratch:
        demo = Path(scratch)
        subprocess.run([Path(sys.executable).with_name("brightbowl"), "demo", "--out", demo], check=True)
        results = sorted(demo.glob("results/*/*/result.json"))
        shrink(most_findings(results).with_name("tray.jpg"), PICTURES / "crowd.jpg")
        piece = sheet_with(results, "piece-*[0-9].svg")
        shrink(piece.with_name("tray.jpg"), PICTURES / "tray.jpg")
        photograph(piece, PICTURES / "piece.jpg")
        photograph(sheet_with(results, "piece-*-face.svg"), PICTURES / "face.jpg")


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
