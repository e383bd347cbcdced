"""Results on disk, as `brightbowl inspect` writes them, made ready to be filed with all that lies around them."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from app.store import PictureFile, Store, ToFile, file_result, frame_pictures, kept_files, kept_path
from app.works.folder import Works
from app.works.runs import Run
from vision.errors import Unusable
from vision.formats import (
    PROFILES_FILE,
    find_shots,
    read_limits,
    read_part,
    read_profiles,
    read_result,
    read_shot,
    read_station,
)
from vision.records import Limits, Part, Shot, Station

RESULT_FILE = "result.json"
_PIECE_PICTURE = re.compile(r"piece-(\d+)\.(?:jpg|svg)")


@dataclass(frozen=True, slots=True)
class FolderFiling:
    """What filing folders came to; each failure is a line."""

    trays: int
    new: int
    known: int
    failures: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class JudgedBy:
    """What results were judged by."""

    part: Part
    station: Station
    limits: Limits


def file_folders(
    store: Store,
    works: Works | None,
    folders: Iterable[Path],
    shots: Iterable[Path],
    judged_by: JudgedBy | None = None,
) -> FolderFiling:
    """File trays' results; one that can't be read or filed is named and the others are filed all the same.

    Parameters
    ----------
    works
        Paths are kept relative to it, and it has the parts, stations and limits where `judged_by` is not given.
    folders
        Each holds one `result.json`.
    shots
        Shots, or folders of them, whose frames belong to the results.
    """
    by_tray = shots_by_tray(shots)
    root = None if works is None else works.folder
    trays, new, known, failures = 0, 0, 0, []
    for folder in folders:
        try:
            ready = ready_to_file(folder, root, by_tray)
            if judged_by is not None:
                ready = replace(ready, part=judged_by.part, station=judged_by.station, limits=judged_by.limits)
            elif works is not None:
                ready = _with_definitions(ready, works)
            filed = file_result(store, ready)
        except Unusable as fault:
            failures.append(str(fault))
            continue
        trays, new, known = trays + 1, new + filed.new, known + filed.known
    return FolderFiling(trays, new, known, tuple(failures))


def file_run(store: Store, works: Works | None, run: Run, judged_by: JudgedBy) -> FolderFiling:
    """File what a run left: the results of its own shots, as far as they were judged."""
    trays = [run.out / tray for tray in shots_by_tray(run.shots)]
    judged = [folder for folder in trays if (folder / RESULT_FILE).is_file()]
    return file_folders(store, works, judged, run.shots, judged_by)


def result_folders(folder: Path) -> list[Path]:
    """Every folder of a tray's result: the one given, or those in it.

    Raises
    ------
    Unusable
        There is none.
    """
    found = [folder] if (folder / RESULT_FILE).is_file() else sorted(path.parent for path in folder.rglob(RESULT_FILE))
    if not found:
        raise Unusable(folder, "", "results expected, as `brightbowl inspect` writes them", f"no {RESULT_FILE}")
    return found


def shots_by_tray(folders: Iterable[Path]) -> dict[str, Shot]:
    """The shots in some folders, by their trays; what is no shot is passed over."""
    shots: dict[str, Shot] = {}
    for folder in find_shots(folders):
        try:
            shot = read_shot(folder)
        except Unusable:
            continue  # results can be filed without their shot; the page then says that pictures are missing
        shots.setdefault(shot.tray, shot)
    return shots


def ready_to_file(folder: Path, root: Path | None, shots: Mapping[str, Shot]) -> ToFile:
    """One tray's result with its pictures, frames and profiles.

    Raises
    ------
    Unusable
        The result or its profiles can't be read.
    """
    result = read_result(folder / RESULT_FILE)
    shot = shots.get(result.tray)
    frames = () if shot is None else frame_pictures(shot.frames, root)
    taken = () if shot is None else (shot.folder / "shot.json", *(frame.path for frame in shot.frames))
    return ToFile(
        result=result,
        pictures=(*frames, *_pictures(folder, root)),
        profiles=read_profiles(folder / PROFILES_FILE),
        files=kept_files((kept_path(file, root), file) for file in (*sorted(folder.iterdir()), *taken)),
    )


def _with_definitions(ready: ToFile, works: Works) -> ToFile:
    """The result with its part, station and limits as the works has them; limits only of the result's own revision."""
    result = ready.result
    part_file, station_file = works.part_file(result.part), works.station_file(result.station)
    part = read_part(part_file) if part_file.is_file() else None
    station = read_station(station_file) if station_file.is_file() else None
    limits = None
    if part is not None and works.limits_file(result.part).is_file():
        in_force = read_limits(works.limits_file(result.part), part)
        limits = in_force if in_force.revision == result.limits_revision else None
    return replace(ready, part=part, station=station, limits=limits)


def _pictures(folder: Path, root: Path | None) -> list[PictureFile]:
    pictures = []
    for path in sorted(folder.iterdir()):
        piece = _PIECE_PICTURE.fullmatch(path.name)
        if piece is not None:
            pictures.append(PictureFile(kept_path(path, root), "piece", piece=int(piece[1])))
        elif path.name == "tray.jpg":
            pictures.append(PictureFile(kept_path(path, root), "tray"))
    return pictures
