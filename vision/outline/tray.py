"""What lies on the tray: every dark region told as a piece, pieces that touch, or something else."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from vision.outline.clumps import CLUMPS, clump, other_thing
from vision.outline.found import Found, RegionContents, together
from vision.outline.other_scale import other_scale
from vision.outline.regions import Region, find_regions, split_finely
from vision.outline.scene import BacklitScene
from vision.outline.single import SINGLE, single_piece
from vision.records import TrayFinding


@dataclass(frozen=True, slots=True)
class TraySettings:
    """What of a tray is looked at, and in which order it is told."""

    # Smaller dark regions are dust on the light (mm2).
    dust_mm2: float = 3.0
    # A band whose mean width differs by so many standard deviations from what is known is no chance (1 tray in
    # 300,000).
    surprising: float = 4.5
    # Pieces whose centres are this share of the part's length apart in height stand in different rows.
    row_share: float = 0.25
    # Two parts of one piece that the frame's corner cuts in two lie within so many of the part's lengths.
    of_one_piece: float = 1.2


TRAY = TraySettings()


@dataclass(frozen=True, slots=True, eq=False)
class FoundTray:
    """What lies on a tray: pieces in reading order, what is said of the tray, the edges' blur (nan without any)."""

    pieces: tuple[Found, ...]
    findings: tuple[TrayFinding, ...]
    blur_px: float


def find_pieces(scene: BacklitScene) -> FoundTray:
    """All pieces of a tray in reading order, and what else lies on it.

    Parameters
    ----------
    scene
        The backlit frame with its light, its camera and the drawing that pieces are laid on.

    Returns
    -------
    FoundTray
        Pieces with their places and edges, and findings of the tray.
    """
    least = TRAY.dust_mm2 / scene.mm_per_px**2
    most = SINGLE.area_share[1] * scene.nominal.moments.area / scene.mm_per_px**2
    regions = find_regions(scene.back, scene.light, least)
    other = other_scale(regions, scene)
    contents = other.contents if other is not None and other.far else _contents(regions, scene, least, most)
    if other is not None and not any(one.placement for one in contents.pieces):
        contents = other.contents
    detail = "a piece lies on its face: its outline is the drawing's mirror image; turn it over"
    turned = [TrayFinding("face_down", one.center_px, detail) for one in contents.pieces if one.fault == "face_down"]
    findings = _without_fragments((*contents.findings, *turned), scene) + _contradicted(contents.pieces, scene)
    blur = float(np.median(contents.blurs_px)) if contents.blurs_px else float("nan")
    row_px = TRAY.row_share * float(np.ptp(scene.nominal.points[:, 0])) / scene.mm_per_px
    return FoundTray(tuple(_in_reading_order(contents.pieces, row_px)), tuple(findings), blur)


def _contents(regions: Sequence[Region], scene: BacklitScene, least: float, most: float) -> RegionContents:
    """Every region as what it is; `least`, `most`: areas of one piece, px."""
    large = [region for region in regions if region.at_border or region.area_px > most]
    small = [region for region in regions if not (region.at_border or region.area_px > most)]
    return together(
        (
            *(single_piece(region, scene) or other_thing(region, scene) for region in small),
            *(clump(part, scene) for region in large for part in _parts(region, scene, least)),
        )
    )


def _in_reading_order(found: Iterable[Found], row_px: float) -> list[Found]:
    """Rows from the top, left to right within a row; a row is what lies within `row_px` of its first piece."""
    rows: list[list[Found]] = []
    for one in sorted(found, key=lambda f: f.center_px[1]):
        if rows and one.center_px[1] - rows[-1][0].center_px[1] < row_px:
            rows[-1].append(one)
        else:
            rows.append([one])
    return [one for row in rows for one in sorted(row, key=lambda f: f.center_px[0])]


def _contradicted(found: Sequence[Found], scene: BacklitScene) -> list[TrayFinding]:
    """Told where most pieces show a band that the station's half angle and the part's rim don't account for."""
    seen = [one.edge.band for one in found if one.edge and one.edge.band]
    bands = [band for band in seen if band.fitted and band.backlight == "station"]
    if not bands or abs(float(np.median([band.surprise for band in bands]))) < TRAY.surprising:
        return []
    width_um = 1000 * float(np.median([band.width_mm.mean() for band in bands]))
    station, rim = scene.camera.station.backlight, scene.nominal.part.rim
    assert station
    by = f"the station's half angle of {station.half_deg:g}°" + (f" and a rim of {rim.mm:g} mm" if rim else "")
    detail = f"the band along the rims is {width_um:.0f} µm wide, which {by} don't explain: measure the backlight anew"
    return [TrayFinding("backlight", None, detail)]


def _parts(region: Region, scene: BacklitScene, least: float) -> tuple[Region, ...]:
    if region.area_px * scene.mm_per_px**2 < SINGLE.area_share[1] * scene.nominal.moments.area:
        return (region,)
    return split_finely(scene.back, scene.light, region, least)


def _without_fragments(findings: Sequence[TrayFinding], scene: BacklitScene) -> list[TrayFinding]:
    """A corner of the frame can cut one piece into two regions: small ones near a larger are not told again."""
    cut = [f for f in findings if f.kind == "cut_off"]
    reach = TRAY.of_one_piece * float(np.ptp(scene.nominal.points[:, 0])) / scene.mm_per_px
    small = {
        id(f)
        for f in cut
        if f.area_mm2 is not None
        and f.area_mm2 < CLUMPS.fragment_share * scene.nominal.moments.area
        and any(
            g is not f and f.center_px and g.center_px and np.hypot(*np.subtract(f.center_px, g.center_px)) < reach
            for g in cut
        )
    }
    return [f for f in findings if id(f) not in small]
