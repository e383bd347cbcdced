"""Filing what was judged: each judging of a shot is an act, the newest stands; the same again changes nothing."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Connection, Table, func, insert, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.definitions import digest, limits_content, pack, part_content, station_content
from app.store.database.rows import add, add_missing, ensure, find
from app.store.evidence.files import KeptFile, file_kept
from app.store.lots.revisions import file_limits
from app.store.people.queue_lines import lay_out
from app.store.results.acts import Act, JudgedBy, ResultFile, file_act, judgements_of, pieces_of, standing_path
from app.store.results.judgements import Tray, file_judgements, file_profiles, piece_content
from app.store.results.shots import Chosen, Place, TrayName, lot_row, note_choice, place_of
from vision.formats import Profile
from vision.records import FrameFile, Limits, Part, Station, TrayResult

# Any number that no other program on the server is likely to lock by, as in `migrations`.
_TRAY_LOCK = 0x6262
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
    """A tray's result with what it was judged from, as far as it is known; `profiles` are by piece.

    `judged_now` says that it comes from judging, and not from a folder of results filed later; `chosen` is what a
    person says of it. A `trial` is kept, and never counts. `result_file` is kept by path and digest; `files` are those
    on disk that belong to it.
    """

    result: TrayResult
    pictures: tuple[PictureFile, ...] = ()
    part: Part | None = None
    station: Station | None = None
    limits: Limits | None = None
    profiles: Mapping[int, Profile] = field(default_factory=dict)
    judged_now: bool = True
    chosen: Chosen | None = None
    trial: bool = False
    result_file: ResultFile | None = None
    files: tuple[KeptFile, ...] = ()


@dataclass(frozen=True, slots=True)
class Filed:
    """What filing one tray did.

    `new` judgements, and those `known` before; whether it `stands` now and what stood before is `changed`; whether it
    is `unproven`: nothing says what it was judged by. `standing_path`: the file of the result that stands.
    """

    tray: str
    new: int
    known: int
    stands: bool = True
    changed: bool = True
    unproven: bool = False
    standing_path: str | None = None


def frame_pictures(frames: Iterable[FrameFile], root: Path | None) -> tuple[PictureFile, ...]:
    """The frames of a shot as pictures to file, their paths relative to the works folder where they lie in it.

    Parameters
    ----------
    frames
        Files of the frames, with their lights.
    root
        The works folder that paths are kept relative to; none: they are absolute.

    Returns
    -------
    tuple[PictureFile, ...]
        In the same order.
    """
    return tuple(PictureFile(kept_path(frame.path, root), "frame", frame.light, frame.azimuth_deg) for frame in frames)


def kept_path(path: Path, root: Path | None) -> str:
    """A path as the store keeps it: relative to the works folder inside it, else absolute; always with `/`.

    Parameters
    ----------
    path
        Of a file.
    root
        The works folder that paths are kept relative to; none: they are absolute.

    Returns
    -------
    str
        A path with `/`.
    """
    absolute = path.resolve()
    if root is not None and absolute.is_relative_to(root.resolve()):
        return absolute.relative_to(root.resolve()).as_posix()
    return absolute.as_posix()


def file_result(store: Store, tray: ToFile) -> Filed:
    """File one tray in one transaction.

    Parameters
    ----------
    store
        An open store.
    tray
        What is to be filed; see `ToFile`.

    Returns
    -------
    Filed
        What came of it.

    Raises
    ------
    Undecided
        Only a person can say which tray it is of.
    Unusable
        The store can't be written, or its released limits of that revision differ from those given.
    """
    with store.write() as connection:
        return file_tray(connection, tray)


def file_tray(connection: Connection, tray: ToFile) -> Filed:
    """File one tray inside the caller's transaction.

    Parameters
    ----------
    connection
        A transaction of the store.
    tray
        What is to be filed; see `ToFile`.

    Returns
    -------
    Filed
        What came of it.

    Raises
    ------
    Undecided
        Only a person can say which tray it is of.
    Unusable
        The store's released limits of that revision differ from those given.
    """
    result = tray.result
    moment = now()
    _take_turns(connection, result.tray)
    lot_id = lot_row(connection, result.lot)
    by = _file_definitions(connection, tray)
    place = place_of(connection, result, lot_id, tray.chosen)
    shot_id = _file_shot(connection, tray, place, lot_id)
    _file_pictures(connection, shot_id, tray.pictures, moment)
    file_kept(connection, tray.files)
    contents = {judged.piece: piece_content(judged) for judged in result.pieces}
    findings = [[found.kind, found.center_px, found.detail] for found in result.tray_findings]
    head = {
        "limits_revision": result.limits_revision,
        "software": result.software,
        "part_id": by.part_id,
        "station_id": by.station_id,
    }
    key = {"shot_id": shot_id, "digest": digest([head, findings, list(contents.values())])}
    filing_id = find(connection, schema.filing, key)
    fresh: list[int] = []
    if filing_id is None:
        filing_id = add(connection, schema.filing, {**key, **head, "filed_at": moment})
        for nth, found in enumerate(result.tray_findings):
            x_px, y_px = found.center_px or (None, None)
            values = {"filing_id": filing_id, "place": nth, "kind": found.kind, "x_px": x_px, "y_px": y_px}
            connection.execute(insert(schema.tray_finding).values(**values, detail=found.detail))
        shot_digest = connection.execute(select(schema.shot.c.digest).where(schema.shot.c.id == shot_id)).scalar_one()
        named = {
            judged.piece: digest([shot_digest, result.limits_revision, contents[judged.piece]])
            for judged in result.pieces
        }
        fresh = file_judgements(connection, Tray(place.tray_id, filing_id), result.pieces, named)
    if tray.profiles:
        file_profiles(connection, judgements_of(connection, filing_id), tray.profiles)
    act = Act(filing_id, place, result.judged_at, tray.judged_now, tray.trial, tray.chosen)
    became = file_act(connection, act, by, tray.result_file)
    if became.changed:
        if tray.chosen is not None and tray.chosen.kind == "stand":
            here = TrayName(result.tray, result.lot)
            note_choice(connection, tray.chosen, place.tray_id, here, here)
        lay_out(connection, pieces_of(connection, place.tray_id))
    unproven = result.digests is None and not tray.trial
    stands = standing_path(connection, place.tray_id)
    return Filed(result.tray, len(fresh), len(contents) - len(fresh), became.stands, became.changed, unproven, stands)


def _take_turns(connection: Connection, tray: str) -> None:
    """Whoever else files a tray of this name waits here (PostgreSQL; SQLite has one writer anyway)."""
    if connection.dialect.name == "postgresql":
        connection.execute(select(func.pg_advisory_xact_lock(_TRAY_LOCK, func.hashtext(tray))))


def _file_definitions(connection: Connection, tray: ToFile) -> JudgedBy:
    """What the result was judged by: filed where it is given, looked up where only its digest is."""
    told = tray.result.digests
    if told is not None:
        by = JudgedBy(told.part, told.station, told.limits)
    else:
        by = JudgedBy(
            None if tray.part is None else digest(part_content(tray.part)),
            None if tray.station is None else digest(station_content(tray.station)),
            None if tray.limits is None else digest(limits_content(tray.limits)),
        )
    if not tray.trial:
        if tray.limits is not None:
            file_limits(connection, tray.limits)
        if tray.part is not None:
            _file_definition(connection, schema.part, {"part": tray.part.part}, part_content(tray.part))
        if tray.station is not None:
            content = station_content(tray.station)
            _file_definition(connection, schema.station, {"station": tray.station.station}, content)
    return replace(
        by,
        part_id=find(connection, schema.part, {"part": tray.result.part, "digest": by.part_digest}),
        station_id=find(connection, schema.station, {"station": tray.result.station, "digest": by.station_digest}),
        limits_id=find(connection, schema.limits_revision, {"part": tray.result.part, "digest": by.limits_digest}),
    )


def _file_definition(connection: Connection, table: Table, name: dict[str, str], content: dict[str, Any]) -> None:
    key = {**name, "digest": digest(content)}
    ensure(connection, table, key, {"body": pack(content), "filed_at": now()})


def _file_shot(connection: Connection, tray: ToFile, place: Place, lot_id: int | None) -> int:
    """The row of what is said of a shot; what is said otherwise of the same shot is another row in the same place."""
    result = tray.result
    frames = None if result.digests is None else result.digests.frames
    said = [result.part, result.station, result.lot, result.taken_at, dict(result.process)]
    key = {"tray_id": place.tray_id, "digest": digest(said if frames is None else [*said, frames])}
    found = find(connection, schema.shot, key)
    if found is not None:
        return found
    more = {
        "part": result.part,
        "station": result.station,
        "lot_id": lot_id,
        "taken_at": result.taken_at,
        "filed_at": now(),
    }
    shot_id = add(connection, schema.shot, {**key, **more})
    values = {"shot_id": shot_id, "frames": frames, "place": place.place}
    connection.execute(insert(schema.shot_identity).values(**values))
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
