"""Results that were judged some time ago, and elsewhere perhaps: whether they can be believed before they are filed."""

from dataclasses import dataclass, replace
from pathlib import Path

from app.store import (
    Kind,
    Store,
    ToFile,
    digests_here,
    limits_standing,
    never_in_force,
)
from app.works.folder import Works
from app.works.limits_in_force import ON_TRIAL_ONLY
from app.works.shot_folders import RESULT_FILE
from vision.decide import against_limits
from vision.errors import Unusable
from vision.formats import (
    read_limits,
    read_part,
    read_station,
)
from vision.records import Limits, Part, Station, TrayResult

_STRANGE = {"part": "another drawing", "station": "another calibration of the station", "limits": "other limits"}


def as_filed_later(store: Store, ready: ToFile, works: Works | None, folder: Path) -> ToFile:
    """A result that was judged some time ago, with what the works has of its part, station and limits, if it was those.

    Raises
    ------
    Unusable
        It was judged by what was never in force here, and is no trial.
    """
    ready = replace(ready, judged_now=False)
    here = None if works is None else _definitions(ready.result, works)
    if works is not None and here is not None and here.limits is not None:
        standing = limits_standing(store, here.limits, bool(works.people))
        here = replace(here, limits=None if standing in ON_TRIAL_ONLY else here.limits)
    strange = never_in_force(store, ready.result, None if here is None else _digests(here))
    if strange and not ready.trial:
        raise Unusable(
            folder / RESULT_FILE,
            "digests",
            "a result judged by what was in force here at some time expected; leave it out, or keep it with --trial",
            ", ".join(_STRANGE[kind] for kind in strange),
        )
    if here is None or strange:
        return ready
    told = ready.result.digests
    same = _digests(here)
    limits = here.limits if told is None or same.get("limits") == told.limits else None
    if limits is not None:
        _check_verdicts(folder / RESULT_FILE, ready.result, limits)
    return replace(
        ready,
        part=here.part if told is None or same.get("part") == told.part else None,
        station=here.station if told is None or same.get("station") == told.station else None,
        limits=limits,
    )


def _check_verdicts(file: Path, result: TrayResult, limits: Limits) -> None:
    """Believe no verdict that is better, and no count that is another, than its own measures and limits give."""
    for piece in result.pieces:
        if wrong := against_limits(piece, limits):
            expected = "a verdict that follows from its measures and limits expected; judge the tray again"
            raise Unusable(file, f"piece {piece.piece}", expected, wrong)


@dataclass(frozen=True, slots=True, eq=False)
class _Here:
    part: Part | None
    station: Station | None
    limits: Limits | None


def _definitions(result: TrayResult, works: Works) -> _Here:
    """A result's part, station and limits as the works has them now; limits only of the result's own revision."""
    part_file, station_file = works.part_file(result.part), works.station_file(result.station)
    part = read_part(part_file) if part_file.is_file() else None
    station = read_station(station_file) if station_file.is_file() else None
    limits = None
    if part is not None and works.limits_file(result.part).is_file():
        in_force = read_limits(works.limits_file(result.part), part)
        limits = in_force if in_force.revision == result.limits_revision else None
    return _Here(part, station, limits)


def _digests(here: _Here) -> dict[Kind, str]:
    return digests_here(here.part, here.station, here.limits)
