"""Shots and work for runs, and a stand-in for the pipeline: what a run does is tested apart from what is measured."""

import dataclasses
import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from app.run.attempt import Outcome
from app.run.shot import Work
from tests.formats.made import LIMITS, STATION, shot_table, write_part, write_shot
from vision.formats.limits import read_limits
from vision.formats.part import read_part
from vision.formats.station import read_station
from vision.records.inputs import Part, Reference, Station, TrayPictures
from vision.records.judge import MarkJudge
from vision.records.measured import MeasuredPiece, MeasuredTray


def make_files(folder: Path) -> dict[str, Path]:
    """part.toml, station.toml and limits.toml in a folder, by their option's name."""
    part = write_part(folder)
    station, limits = folder / "station.toml", folder / "limits.toml"
    station.write_text(STATION)
    limits.write_text(LIMITS)
    return {"part": part, "station": station, "limits": limits}


def make_work(folder: Path, pictures: bool = False) -> Work:
    """All that judges, and an empty folder for results."""
    files = make_files(folder / "files")
    part = read_part(files["part"])
    out = folder / "out"
    out.mkdir()
    return Work(part, read_station(files["station"]), read_limits(files["limits"], part), out, pictures)


def make_shots(folder: Path, *trays: str) -> list[Path]:
    """A shot of each tray, in folders `shot-0`, `shot-1`, ..."""
    return [write_shot(folder / f"shot-{number}", shot_table(tray=tray)) for number, tray in enumerate(trays)]


def by_no_clock(outcomes: Iterable[Outcome]) -> list[Outcome]:
    """Outcomes without the time of judging."""
    return [one if one.result is None else replace(one, result=replace(one.result, judged_at=None)) for one in outcomes]


def stand_in(
    pictures: TrayPictures, _part: Part, _station: Station, _reference: Reference, _marks: MarkJudge
) -> MeasuredTray:
    """One piece that sticks out at its bowl by the frame's mean brightness in micrometres: 200 is a reject."""
    value = float(pictures.back.pixels.mean()) / 1000.0
    measures = {"outline_out_mm": {"bowl": value, "handle": 0.0}, "length_mm": 135.0}
    uncertainties = {"outline_out_mm": {"bowl": 0.01, "handle": 0.01}, "length_mm": 0.01}
    piece = MeasuredPiece(1, None, None, measures, uncertainties)
    return MeasuredTray((piece,))


@dataclass(frozen=True, slots=True, eq=False)
class DeadlyWork(Work):
    """Work that kills the process it is sent to, as many times as `deaths` says (each leaves a file in `out`)."""

    deaths: int = 0

    def __reduce__(self) -> tuple[object, ...]:
        fields = tuple(getattr(self, field.name) for field in dataclasses.fields(self))
        return _arrive, fields


def _arrive(*fields: object) -> DeadlyWork:
    work = DeadlyWork(*fields)  # type: ignore[arg-type]
    for death in range(work.deaths):
        try:
            (work.out / f".death-{death}").touch(exist_ok=False)
        except FileExistsError:
            continue
        os._exit(1)
    return work
