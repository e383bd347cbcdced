"""One tray shot, files to files: the unit of work, on this machine or any other."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from app.report import Inspected, Stamp
from app.run.standing import stopped_since, with_standing
from app.store import digests_of
from app.works import BESIDE, RESULT_FILE, Run, frames_digest, judge_of_marks, put_standing, shot_folder
from vision.decide import check_limits, judge
from vision.errors import Incomplete, Unusable
from vision.formats import (
    PROFILES_FILE,
    check_corrections,
    check_height,
    has_shot_file,
    not_written,
    read_frames,
    read_limits,
    read_part,
    read_shot,
    read_station,
    shipped_judge,
    write_profiles,
    write_result,
)
from vision.pipeline import measure_tray
from vision.records import Detection, JudgeUsed, Limits, LimitsStanding, MarkJudge, Part, Shot, Station, TrayResult
from vision.settings import settings_used


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """What every shot of a run is judged by, and the folder that gets a folder of results for each tray.

    `standing`: how the limits stand; None where there is nothing to hold them against. `stopped`: when the station's
    check stopped it, None where it stands. `stamp`: the head of the chain before the run, where there is a store.
    `marks` tells marks from none.
    """

    part: Part
    station: Station
    limits: Limits
    out: Path
    pictures: bool = True
    standing: LimitsStanding | None = None
    stopped: str | None = None
    stamp: Stamp | None = None
    marks: MarkJudge = field(default_factory=shipped_judge)


def read_work(run: Run, pictures: bool) -> Work:
    """Read the files that judge a run's shots.

    Parameters
    ----------
    run
        The shots, and the files that judge them.
    pictures
        Whether pictures are made.

    Returns
    -------
    Work
        Everything that the shots have in common.

    Raises
    ------
    Unusable
        One of them is absent or wrong, or nothing could pass the limits at the station's uncertainty.
    """
    part, station = read_part(run.part_file), read_station(run.station_file)
    limits = read_limits(run.limits_file, part)
    check_limits(limits, part, station, run.limits_file)
    check_height(part, station, run.station_file)
    check_corrections(part, station, run.station_file)
    stopped = stopped_since(run.checks_file, station.station)
    standing: LimitsStanding | None = "draft" if limits.status == "draft" else None
    return Work(part, station, limits, run.out, pictures, standing, stopped, marks=judge_of_marks(run.judge_file))


def inspect_shot(folder: Path, work: Work) -> Inspected:
    """Measure and judge a shot and write `result.json` into its own folder, whole or not at all.

    Raises
    ------
    Unusable
        Where the shot or a frame can't be read, is of another part or station, or the result can't be written.
    """
    shot = read_shot(folder, (work.station,))
    _check_names(shot, work)
    pictures = read_frames(shot, work.station)
    try:
        frames = frames_digest(shot.frames)
    except OSError as fault:
        raise Incomplete(folder, "", "frames that can be read expected", fault.strerror or "") from None
    measured = measure_tray(pictures, work.part, work.station, work.limits.reference, work.marks)
    measured = with_standing(measured, shot.taken_at, work.station, work.stopped)
    judged = tuple(judge(piece, work.limits) for piece in measured.pieces)
    result = TrayResult(
        software=f"brightbowl {version('brightbowl')}",
        tray=shot.tray,
        lot=shot.lot,
        part=work.part.part,
        station=work.station.station,
        taken_at=shot.taken_at,
        limits_revision=work.limits.revision,
        pieces=judged,
        tray_findings=measured.findings,
        process=shot.process,
        detection=Detection(),
        rate=work.limits.rate,
        limits_standing=work.standing,
        judged_at=datetime.now(UTC).isoformat(timespec="milliseconds"),
        digests=digests_of(work.part, work.station, work.limits, frames),
        retake=shot.retake,
        settings=settings_used(),
        correction=measured.correction,
        judge=JudgeUsed(work.marks.revision, work.marks.digest),
    )
    into = shot_folder(work.out, result)
    try:
        into.mkdir(parents=True, exist_ok=True)
        for pattern in BESIDE:
            for old in into.glob(pattern):
                old.unlink()
    except OSError as fault:
        raise not_written(into, fault) from None
    write_result(result, into / RESULT_FILE)
    put_standing(into)
    return Inspected(result, measured, pictures, work.part, work.station, work.limits)


def add_beside(inspected: Inspected, work: Work) -> None:
    """Write what belongs beside a judged shot's `result.json`: its deviation profiles, and pictures where wanted.

    Then the tray's folder shows this shot.

    Raises
    ------
    Unusable
        Where they can't be written.
    """
    into = shot_folder(work.out, inspected.result)
    profiles = {piece.piece: piece.profile for piece in inspected.measured.pieces if piece.profile is not None}
    if profiles:
        write_profiles(into / PROFILES_FILE, profiles)
    if work.pictures:
        from app.report import write_pictures  # here, since a run without pictures need not load them

        write_pictures(into, inspected, work.stamp)
    put_standing(into)


def _check_names(shot: Shot, work: Work) -> None:
    where = shot.folder / "shot.json" if has_shot_file(shot.folder) else shot.folder
    if shot.part not in (None, work.part.part):
        expected = f"a shot of the part {work.part.part} expected; give this shot's own part file"
        raise Unusable(where, "part", expected, str(shot.part))
    if shot.station not in (None, work.station.station):
        expected = f"a shot of the station {work.station.station} expected; give this shot's own station file"
        raise Unusable(where, "station", expected, str(shot.station))
