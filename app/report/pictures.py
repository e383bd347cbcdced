"""What a person looks at: pictures and pages written beside a tray's `result.json`."""

from collections.abc import Sequence
from pathlib import Path

import cv2

from app.report.face_picture import draw_face_sheet
from app.report.inspected import Inspected
from app.report.piece_picture import draw_sheet
from app.report.result_report import index_page, result_page
from app.report.sheet import JPEG_QUALITY
from app.report.stamp import Stamp
from app.report.study_page import write_page
from app.report.style import SIGNS
from app.report.tray_picture import Colour, draw_tray
from app.report.upright import Grey
from vision.formats import write_atomic
from vision.records import TrayResult


def write_pictures(folder: Path, inspected: Inspected, stamp: Stamp | None = None) -> None:
    """Write `tray.jpg` and `result.html`, and of each flagged piece that was measured its own pictures.

    These are `piece-NN.jpg`, `piece-NN.svg`, and `piece-NN-face.svg` where its polished face has findings.

    Parameters
    ----------
    folder
        The tray's folder of results; it exists.
    inspected
        The tray as judged.
    stamp
        The head of the chain before this tray is filed, where there is a store.

    Raises
    ------
    Unusable
        A file could not be written.
    """
    tray = draw_tray(inspected)
    _write_jpeg(folder / "tray.jpg", tray)
    sheets: dict[int, str] = {}
    for measured, judged in inspected.pieces():
        if SIGNS[judged.verdict].flagged and measured.profile is not None:
            sheet = draw_sheet(inspected, measured, judged, measured.profile)
            _write_jpeg(folder / f"piece-{judged.piece:02d}.jpg", sheet.crop)
            write_atomic(folder / f"piece-{judged.piece:02d}.svg", sheet.svg)
            sheets[judged.piece] = sheet.svg
            face = draw_face_sheet(inspected, judged, measured.profile)
            if face is not None:
                write_atomic(folder / f"piece-{judged.piece:02d}-face.svg", face)
                sheets[judged.piece] += face
    write_page(result_page(inspected, tray, sheets), folder / "result.html", stamp, pdf=False)


def write_index(folder: Path, results: Sequence[TrayResult], stamp: Stamp | None = None) -> None:
    """Write `index.html`, which links the trays' own pages in the folders beside it, lot by lot.

    Parameters
    ----------
    folder
        Of results; it exists.
    results
        Of the trays in the folder.
    stamp
        The head of the chain; none where there is no store.

    Raises
    ------
    Unusable
        The file could not be written.
    """
    write_page(index_page(results), folder / "index.html", stamp, pdf=False)


def _write_jpeg(path: Path, image: Grey | Colour) -> None:
    _, packed = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    write_atomic(path, packed.tobytes())
