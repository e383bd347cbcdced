"""Filing what was judged: the same result twice changes nothing, another one for the same piece is a new judgement."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Connection, Table, insert, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.definitions import digest, pack, part_content, station_content
from app.store.database.rows import add, add_missing, ensure, find
from app.store.lots.revisions import file_limits
from app.store.people import review_queue
from app.store.results.judgements import Tray, file_judgements, file_profiles, piece_content
from vision.formats import Profile
from vision.records import FrameFile, Limits, Part, Station, TrayResult

PictureKind = Literal["frame", "tray", "piece"]


@dataclass(frozen=True, slots=True)
class PictureFile:
    """A picture of a tray or of one of its pieces, kept by path."""

    path: str
    kind: PictureKind
    light: str | None = None
    azimuth_deg: float | None = None
    piece: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class ToFile:
    """A tray's result with what it was judged from, as far as it is known; `profiles` are by piece."""

    result: TrayResult
    pictures: tuple[PictureFile, ...] = ()
    part: Part | None = None
    station: Station | None = None
    limits: Limits | None = None
    profiles: Mapping[int, Profile] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Filed:
    """What filing one tray did: how many judgements are new, and how many were there before."""

    tray: str
    new: int
    known: int


def frame_pictures(frames: Iterable[FrameFile], root: Path | None) -> tuple[PictureFile, ...]:
    """The frames of a shot as pictures to file, their paths relative to the works folder where they lie in it."""
    return tuple(PictureFile(kept_path(frame.path, root), "frame", frame.light, frame.azimuth_deg) for frame in frames)


def kept_path(path: Path, root: Path | None) -> str:
    """A path as the store keeps it: relative to the works folder inside it, else absolute; always with `/`."""
    absolute = path.resolve()
    if root is not None and absolute.is_relative_to(root.resolve()):
        return absolute.relative_to(root.resolve()).as_posix()
    return absolute.as_posix()


def file_result(store: Store, tray: ToFile) -> Filed:
    """File one tray in one transaction.

    Raises
    ------
    Unusable
        The store can't be written, or its released limits of that revision differ from those given.
    """
    with store.write() as connection:
        return file_tray(connection, tray)


def file_tray(connection: Connection, tray: ToFile) -> Filed:
    """File one tray inside the caller's transaction.

    Raises
    ------
    Unusable
        The store's released limits of that revision differ from those given.
    """
    result = tray.result
    moment = now()
    if tray.limits is not None:
        file_limits(connection, tray.limits)
    part_id = station_id = None
    if tray.part is not None:
        part_id = _file_definition(connection, schema.part, {"part": tray.part.part}, part_content(tray.part))
    if tray.station is not None:
        content = station_content(tray.station)
        station_id = _file_definition(connection, schema.station, {"station": tray.station.station}, content)
    tray_id = ensure(connection, schema.tray, {"tray": result.tray})
    # Whoever else files this tray waits here (PostgreSQL; SQLite has one writer anyway).
    connection.execute(select(schema.tray.c.id).where(schema.tray.c.id == tray_id).with_for_update())
    shot_id = _file_shot(connection, tray, tray_id)
    _file_pictures(connection, shot_id, tray.pictures, moment)
    contents = {judged.piece: piece_content(judged) for judged in result.pieces}
    findings = [[found.kind, found.center_px, found.detail] for found in result.tray_findings]
    head = {
        "limits_revision": result.limits_revision,
        "software": result.software,
        "part_id": part_id,
        "station_id": station_id,
    }
    key = {"shot_id": shot_id, "digest": digest([head, findings, list(contents.values())])}
    if find(connection, schema.filing, key) is not None:
        file_profiles(connection, tray_id, tray.profiles)
        return Filed(result.tray, 0, len(contents))
    filing_id = add(connection, schema.filing, {**key, **head, "filed_at": moment})
    for place, found in enumerate(result.tray_findings):
        x_px, y_px = found.center_px or (None, None)
        values = {"filing_id": filing_id, "place": place, "kind": found.kind, "x_px": x_px, "y_px": y_px}
        connection.execute(insert(schema.tray_finding).values(**values, detail=found.detail))
    shot_digest = connection.execute(select(schema.shot.c.digest).where(schema.shot.c.id == shot_id)).scalar_one()
    named = {
        judged.piece: digest([shot_digest, result.limits_revision, contents[judged.piece]]) for judged in result.pieces
    }
    fresh = file_judgements(connection, Tray(tray_id, filing_id), result.pieces, named)
    file_profiles(connection, tray_id, tray.profiles)
    review_queue.lay_out(connection, fresh)
    return Filed(result.tray, len(fresh), len(contents) - len(fresh))


def _file_definition(connection: Connection, table: Table, name: dict[str, str], content: dict[str, Any]) -> int:
    key = {**name, "digest": digest(content)}
    return ensure(connection, table, key, {"body": pack(content), "filed_at": now()})


def _file_shot(connection: Connection, tray: ToFile, tray_id: int) -> int:
    result = tray.result
    lot_id = None
    if result.lot is not None:
        lot_id = ensure(connection, schema.lot, {"lot": result.lot}, {"filed_at": now()})
    key = {
        "tray_id": tray_id,
        "digest": digest([result.part, result.station, result.lot, result.taken_at, dict(result.process)]),
    }
    more = {
        "part": result.part,
        "station": result.station,
        "lot_id": lot_id,
        "taken_at": result.taken_at,
        "filed_at": now(),
    }
    shot_id = ensure(connection, schema.shot, key, more)
    for name, value in result.process.items():
        add_missing(connection, schema.process_value, {"shot_id": shot_id, "name": name, **split_value(value)})
    return shot_id


def split_value(value: str | float) -> dict[str, str | float | None]:
    """A process value as the two columns that hold it: a number or words."""
    number = None if isinstance(value, str) else float(value)
    return {"number": number, "words": value if isinstance(value, str) else None}


def _file_pictures(connection: Connection, shot_id: int, pictures: tuple[PictureFile, ...], moment: str) -> None:
    for picture in pictures:
        values = {
            "shot_id": shot_id,
            "path": picture.path,
            "kind": picture.kind,
            "light": picture.light,
            "azimuth_deg": picture.azimuth_deg,
            "piece": picture.piece,
            "filed_at": moment,
        }
        add_missing(connection, schema.picture, values)
