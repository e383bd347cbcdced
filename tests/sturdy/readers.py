"""Every format of the project: a good file of it, and how it is read in earnest. What a reader returns is held good."""

import hashlib
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import ezdxf
import numpy as np
import tifffile

from app.run.attempt import attempt
from app.run.shot import Work, read_work
from app.studies.gauge_input import read_gauge_table
from app.works.folder import Works, read_works
from app.works.runs import Run
from synthetic_images.spoons import TEASPOON
from synthetic_images.trays.history import DieCourse, History, render_history
from tests.run.rendered_works import works_of
from tests.sturdy.mutating import DAMAGE, TEXT, Mutation, sums_mended
from vision.decide import check_limits
from vision.errors import Unusable
from vision.formats.checks_file import read_checks, read_reference
from vision.formats.frames import read_frames
from vision.formats.limits import read_limits
from vision.formats.part import read_part
from vision.formats.profiles import read_profiles
from vision.formats.result import read_result
from vision.formats.shot import read_shot
from vision.formats.station import read_station
from vision.formats.verdicts import read_verdicts
from vision.formats.view import check_height
from vision.records import FrameFile, Shot

COARSE_MM_PER_PX = 0.2


class Lied(Exception):
    """A damaged file was believed."""


class Slipped(Exception):
    """A damaged TIFF frame was read whose own checksum still held: Adler-32 is that weak. Its `sha256` tells it."""


@dataclass(frozen=True, slots=True)
class Format:
    """A good file, how it is mutated and read; `share`: how often it comes, of all."""

    name: str
    file: Path
    by: Sequence[Mutation]
    read: Callable[[Path], object]
    share: int


@dataclass(frozen=True, slots=True)
class Place:
    """A works with one tray judged, and beside it a good file of every other format."""

    works: Works
    shot: Path
    work: Work
    others: Path


def make_place(folder: Path) -> Place:
    """Render a works with one tray of one piece, judge it, and write good files of every format."""
    one = History(TEASPOON, (DieCourse("D1"),), 1, 1000.0, pieces=1, mm_per_px=COARSE_MM_PER_PX)
    list(render_history(folder, one))
    shot = next((folder / "shots").iterdir())
    works = works_of(folder, folder / "works")
    part, station = works.part_file("TS-135"), works.station_file("ST-1")
    limits = works.limits_file("TS-135")
    work = read_work(Run(part, station, limits, folder / "out", (shot,)), False)
    assert attempt(shot, work).result is not None
    others = folder / "others"
    others.mkdir()
    grey = cv2.imread(str(shot / "back.png"), cv2.IMREAD_UNCHANGED)
    small = np.ascontiguousarray(grey[::4, ::4])
    cv2.imwrite(str(others / "grey.png"), small)
    tifffile.imwrite(others / "deflated.tif", small, compression="zlib", rowsperstrip=16)
    tifffile.imwrite(others / "plain.tif", small)
    tifffile.imwrite(others / "tiled.tif", small, tile=(32, 32), compression="zlib")
    _drawing(others / "outline.dxf")
    (others / "outline.csv").write_text("x_mm,y_mm\n" + "\n".join(f"{x:.3f},{y:.3f}" for x, y in _oval()))
    heads = "tray,piece,inspector,round,verdict,defects,note,given_at\n"
    rows = [f"T-{n},1,A. Moss,1,{'accept' if n % 3 else 'reject'},,,2026-11-02T06:00:00+00:00\n" for n in range(9)]
    (others / "verdicts.csv").write_text(heads + "".join(rows))
    table = [f"{p},{o},{t},{10 + p + 0.1 * t + 0.01 * len(o)}\n" for p in range(3) for o in ("A", "BB") for t in (1, 2)]
    (others / "gauge.csv").write_text("part,operator,trial,value\n" + "".join(table))
    (others / "reference.toml").write_text(_REFERENCE)
    (others / "checks.jsonl").write_text(_CHECK * 3)
    return Place(works, shot, work, others)


_REFERENCE = """format = 1
reference = "R-1"
part = "TS-135"

[[value]]
measure = "length_mm"
value = 135.0
uncertainty = 0.002
repeatability = 0.004
"""
_CHECK = (
    '{"format": 1, "station": "ST-1", "calibration": "abc", "reference": "R-1", '
    '"checked_at": "2026-11-02T06:00:00+00:00", "verdict": "pass", "reasons": [], "values": {"length_mm": 135.0}}\n'
)


def _oval() -> list[tuple[float, float]]:
    angles = np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False)
    return [(67.5 * (1.0 + np.cos(a)), 12.0 * np.sin(a)) for a in angles]


def _drawing(path: Path) -> None:
    """A small drawing with every kind of curve, a block and a layer that is off, in the format of 1992."""
    drawing = ezdxf.new("R12")
    space = drawing.modelspace()
    space.add_line((90, 10), (10, 10))
    space.add_arc((10, 0), 10, 90, 270)
    space.add_line((90, -10), (10, -10))
    space.add_polyline2d([(90, -10, 1.0), (90, 10, 0.0)], format="xyb")
    drawing.blocks.new("HOLE").add_circle((0, 0), 2)
    space.add_blockref("HOLE", (30, 0), {"row_count": 1, "column_count": 3, "column_spacing": 8})
    drawing.layers.add("AIDS").off()
    space.add_circle((0, 0), 80, {"layer": "AIDS"})
    drawing.saveas(path)
    units = "  9\n$INSUNITS\n 70\n     4\n"  # which that format had not, and programs write all the same
    path.write_text(path.read_text().replace("HEADER\n", f"HEADER\n{units}", 1))


def formats_of(place: Place) -> list[Format]:
    """Every format, as mutated and read."""
    works, others = place.works, place.others
    part, limits = works.part_file("TS-135"), works.limits_file("TS-135")
    known = read_part(part)
    own = place.work.out / "T-000001"

    def beside(read: Callable[[Path], object], *needed: Path) -> Callable[[Path], object]:
        """Read a file with what it needs beside it."""

        def with_them(path: Path) -> object:
            for one in needed:
                if not (path.parent / one.name).exists():
                    shutil.copyfile(one, path.parent / one.name)
            return read(path)

        return with_them

    drawing_of = part.with_name("outline.dxf")
    frames = {name: _pixels(place, others / name) for name in ("grey.png", "deflated.tif", "tiled.tif", "plain.tif")}
    png = [*DAMAGE, sums_mended, sums_mended]

    return [
        Format("shot.json", place.shot / "shot.json", TEXT, beside(_shot, place.shot / "back.png"), 16),
        Format("station.toml", works.station_file("ST-1"), TEXT, read_station, 10),
        Format("part.toml", part, TEXT, beside(read_part, drawing_of), 2),
        Format("limits.toml", limits, TEXT, lambda path: read_limits(path, known), 10),
        Format("works.toml", works.folder / "works.toml", TEXT, lambda path: read_works(path.parent), 6),
        Format("outline.dxf", others / "outline.dxf", TEXT, beside(lambda path: _drawn(path), part), 8),
        Format("outline.csv", others / "outline.csv", TEXT, lambda path: _drawn(path), 6),
        Format("PNG frame", others / "grey.png", png, lambda path: _frame(place, path, frames["grey.png"], None), 16),
        Format("TIFF, deflated", others / "deflated.tif", DAMAGE, _tiff(place, frames, "deflated.tif", False), 8),
        Format("TIFF in tiles, with sha256", others / "tiled.tif", DAMAGE, _tiff(place, frames, "tiled.tif", True), 4),
        Format("TIFF, plain, with sha256", others / "plain.tif", DAMAGE, _tiff(place, frames, "plain.tif", True), 4),
        Format("result.json", own / "result.json", TEXT, read_result, 14),
        Format("profiles.npz", own / "profiles.npz", DAMAGE, read_profiles, 6),
        Format("verdicts.csv", others / "verdicts.csv", TEXT, read_verdicts, 8),
        Format("gauge.csv", others / "gauge.csv", TEXT, read_gauge_table, 6),
        Format("reference.toml", others / "reference.toml", TEXT, read_reference, 4),
        Format("checks.jsonl", others / "checks.jsonl", TEXT, read_checks, 6),
        Format("judged: station.toml", works.station_file("ST-1"), TEXT, _judged(place, "station"), 6),
        Format("judged: part.toml", part, TEXT, beside(_judged(place, "part"), drawing_of), 3),
        Format("judged: limits.toml", limits, TEXT, _judged(place, "limits"), 4),
        Format("judged: back.png", place.shot / "back.png", png, _judged(place, "frame"), 5),
    ]


def _shot(path: Path) -> object:
    return read_shot(path.parent)


def _drawn(path: Path) -> object:
    from vision.formats.drawing import read_drawing
    from vision.formats.part import arranged

    return arranged(read_drawing(path).loops, path)


def _pixels(place: Place, path: Path) -> np.ndarray:  # type: ignore[type-arg]
    shot = Shot(path.parent, "T", None, None, None, None, {}, (FrameFile(path, "back"),))
    return read_frames(shot, place.work.station).back.pixels


def _frame(place: Place, path: Path, good: np.ndarray, digest: str | None) -> object:  # type: ignore[type-arg]
    """A frame that is read must be the one that it was, unless somebody mended its sums: then it is another picture."""
    told = FrameFile(path, "back", None, digest)
    pixels = read_frames(Shot(path.parent, "T", None, None, None, None, {}, (told,)), place.work.station).back.pixels
    if path.suffix != ".png" and not np.array_equal(pixels, good):
        raise Slipped if digest is None else Lied("a damaged frame was read, and its pixels are others")
    return pixels


def _tiff(
    place: Place,
    frames: dict[str, np.ndarray],  # type: ignore[type-arg]
    name: str,
    told: bool,
) -> Callable[[Path], object]:
    """A TIFF frame, as docs/files.md has it: with its digest in shot.json, or deflated without."""
    digest = hashlib.sha256((place.others / name).read_bytes()).hexdigest() if told else None
    return lambda path: _frame(place, path, frames[name], digest)


def _judged(place: Place, which: str) -> Callable[[Path], object]:
    """Judge the tray with one of its files mutated; a fault of the software is one even where it is told in a line."""
    work = place.work

    def judge(path: Path) -> object:
        shot, by = place.shot, work
        if which == "frame":
            shot = path.parent
            shutil.copyfile(place.shot / "shot.json", shot / "shot.json")
        elif which == "station":
            by = replace(work, station=read_station(path))
        elif which == "limits":
            by = replace(work, limits=read_limits(path, work.part))
        else:
            by = replace(work, part=read_part(path))
        check_limits(by.limits, by.part, by.station, path)
        check_height(by.part, by.station, path)
        outcome = attempt(shot, replace(by, out=path.parent / "out"))
        for line in outcome.failures:
            if "fault of this software" in line:
                raise Lied(line)
        if outcome.result is None:
            raise Unusable(path, "", outcome.failures[0])
        return outcome.result

    return judge
