"""Results on disk, as `brightbowl inspect` writes them, made ready to be filed with all that lies around them."""

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from app.store import (
    Chosen,
    PictureFile,
    ResultFile,
    Store,
    ToFile,
    Undecided,
    file_result,
    frame_pictures,
    kept_files,
    kept_path,
    newest_path,
)
from app.works.filed_later import as_filed_later
from app.works.folder import Works
from app.works.runs import Run
from app.works.shot_folders import RESULT_FILE, is_own_folder, own_folders, put_standing, take_away_shown
from vision.errors import Unusable
from vision.formats import (
    PROFILES_FILE,
    find_shots,
    read_profiles,
    read_result,
    read_shot,
)
from vision.records import Limits, Part, Shot, Station, TrayResult

_PIECE_PICTURE = re.compile(r"piece-(\d+)\.(?:jpg|svg)")


@dataclass(frozen=True, slots=True)
class FolderFiling:
    """What filing folders came to; each failure is a line.

    `stayed` names trays whose result was filed and does not stand, since one judged later does; `unproven` counts
    results that don't say what they were judged by; `changed` trays of which something else stands now.
    """

    trays: int
    new: int
    known: int
    failures: tuple[str, ...]
    stayed: tuple[str, ...] = ()
    unproven: int = 0
    changed: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class JudgedBy:
    """What results were judged by."""

    part: Part
    station: Station
    limits: Limits


@dataclass(frozen=True, slots=True)
class Filing:
    """How folders are filed: where from, by what judged just now (None: filed later), what a person says of them.

    `shots`: shots, or folders of them, whose frames belong to the results. A `trial` is kept, and never counts.
    """

    shots: tuple[Path, ...]
    judged_by: JudgedBy | None = None
    chosen: Chosen | None = None
    trial: bool = False


def file_folders(store: Store, works: Works | None, folders: Iterable[Path], how: Filing) -> FolderFiling:
    """File trays' results; one that can't be read or filed is named and the others are filed all the same.

    Parameters
    ----------
    store
        An open store.
    works
        Paths are kept relative to it, and it has the parts, stations and limits where `how` gives none.
    folders
        Each holds one `result.json`.
    how
        Where the frames lie, by what was judged, and whether it is a trial.

    Returns
    -------
    FolderFiling
        How many trays and judgements were filed, and a line for each failure.
    """
    stations = () if works is None else works.stations()
    by_tray = shots_by_tray(how.shots, stations if how.judged_by is None else (how.judged_by.station,))
    root = None if works is None else works.folder
    trays, new, known, unproven, changed, failures, stayed = 0, 0, 0, 0, 0, [], []
    for folder in folders:
        try:
            ready = replace(ready_to_file(folder, root, by_tray), chosen=how.chosen, trial=how.trial)
            if how.judged_by is not None:
                by = how.judged_by
                ready = replace(ready, part=by.part, station=by.station, limits=by.limits)
            else:
                ready = as_filed_later(store, ready, works, folder)
            filed = file_result(store, ready)
            show_standing(filed.standing_path, root)
        except Undecided as fault:
            failures.append(fault.said(folder))
            show_as_before(store, folder, root)
            continue
        except Unusable as fault:
            failures.append(str(fault))
            continue
        trays, new, known, unproven = trays + 1, new + filed.new, known + filed.known, unproven + filed.unproven
        changed += filed.changed
        if not filed.stands and not how.trial:
            stayed.append(filed.tray)
    return FolderFiling(trays, new, known, tuple(failures), tuple(stayed), unproven, changed)


def file_run(store: Store, works: Works | None, run: Run, judged: Iterable[Path], judged_by: JudgedBy) -> FolderFiling:
    """File what a run judged.

    Parameters
    ----------
    store
        The store of the works.
    works
        The works; none for a store that stands alone.
    run
        Its shots.
    judged
        The folders of its results.
    judged_by
        Part, station and limits.

    Returns
    -------
    FolderFiling
        How many trays and judgements were filed, and a line for each failure.
    """
    return file_folders(store, works, judged, Filing(run.shots, judged_by))


def show_standing(standing: str | None, root: Path | None) -> None:
    """Have the tray's folder of results show what stands, where that has a folder of its own.

    `standing`: the file of the result that stands, as the store keeps paths.

    Parameters
    ----------
    standing
        The file of the result that stands, as the store keeps paths; none: nothing does.
    root
        The works folder that paths are kept relative to; none: they are absolute.

    Raises
    ------
    Unusable
        The folder can't be written.
    """
    if standing is None:
        return
    own = (Path(standing) if root is None else root / standing).parent
    if is_own_folder(own) and own.is_dir():
        put_standing(own)


def show_as_before(store: Store, folder: Path, root: Path | None) -> None:
    """Have a tray's folder show what stands again, after a shot was judged of which people must say what it is.

    `folder`: the shot's own; where nothing of its tray stands, the tray's folder shows nothing.

    Parameters
    ----------
    store
        The store of the works.
    folder
        The shot's own, in its tray's.
    root
        The works folder that paths are kept relative to; none: they are absolute.

    Raises
    ------
    Unusable
        The folder can't be written.
    """
    if is_own_folder(folder):
        take_away_shown(folder.parent)
        show_standing(newest_path(store, folder.parent.name), root)


def result_folders(folder: Path) -> list[Path]:
    """Every folder of a shot's result: the one given, or those in it.

    Parameters
    ----------
    folder
        Of one tray's results, or with such folders at any depth.

    Returns
    -------
    list[Path]
        Folders that hold a result.

    Raises
    ------
    Unusable
        There is none.
    """
    found = own_folders(folder)
    if not found:
        raise Unusable(folder, "", "results expected, as `brightbowl inspect` writes them", f"no {RESULT_FILE}")
    return found


def shots_by_tray(folders: Iterable[Path], stations: Iterable[Station]) -> dict[str, list[Shot]]:
    """The shots in some folders, by their trays' names; what is no shot is passed over."""
    shots: dict[str, list[Shot]] = {}
    known = tuple(stations)
    for folder in find_shots(folders, stations=known):
        try:
            shot = read_shot(folder, known)
        except Unusable:
            continue  # results can be filed without their shot; the page then says that pictures are missing
        shots.setdefault(shot.tray, []).append(shot)
    return shots


def _shot_of(result: TrayResult, shots: Sequence[Shot]) -> Shot | None:
    """The shot of a result: of the same lot and time, or the only one of its name where it says neither."""
    for shot in shots:
        if (shot.lot, shot.taken_at) == (result.lot, result.taken_at) and shot.station in (None, result.station):
            return shot
    bare = [shot for shot in shots if shot.taken_at is None]
    return bare[0] if len(bare) == len(shots) == 1 else None


def ready_to_file(folder: Path, root: Path | None, shots: Mapping[str, Sequence[Shot]]) -> ToFile:
    """One tray's result with its pictures, frames and profiles.

    Parameters
    ----------
    folder
        Of one tray's results.
    root
        The works folder that paths are kept relative to; none: they are absolute.
    shots
        By the trays' names.

    Returns
    -------
    ToFile
        What `app.store.file_result` takes.

    Raises
    ------
    Unusable
        The result or its profiles can't be read.
    """
    file = folder / RESULT_FILE
    result = read_result(file)
    shot = _shot_of(result, shots.get(result.tray, ()))
    frames = () if shot is None else frame_pictures(shot.frames, root)
    taken = () if shot is None else (shot.folder / "shot.json", *(frame.path for frame in shot.frames))
    return ToFile(
        result=result,
        pictures=(*frames, *_pictures(folder, root)),
        profiles=read_profiles(folder / PROFILES_FILE),
        result_file=ResultFile(kept_path(file, root), hashlib.blake2b(file.read_bytes(), digest_size=16).hexdigest()),
        files=kept_files((kept_path(one, root), one) for one in (*sorted(folder.iterdir()), *taken)),
    )


def _pictures(folder: Path, root: Path | None) -> list[PictureFile]:
    pictures = []
    for path in sorted(folder.iterdir()):
        piece = _PIECE_PICTURE.fullmatch(path.name)
        if piece is not None:
            pictures.append(PictureFile(kept_path(path, root), "piece", piece=int(piece[1])))
        elif path.name == "tray.jpg":
            pictures.append(PictureFile(kept_path(path, root), "tray"))
    return pictures
