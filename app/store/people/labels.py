"""What people say of single findings, a mark or none: rows that are only ever added; a person's newest counts."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Literal, cast

from sqlalchemy import ColumnElement, Connection, Select, func, select

from app.store.database import schema
from app.store.database.connection import Store, now
from app.store.database.rows import add, find
from app.store.people.questions import Question, ShownBecause, drawn_again, questions
from app.store.people.verdicts import Receipt
from app.store.results.recall import judged_pieces
from vision.records import JudgedPiece, Pair, Pit, Scratch, Speck

LabelWord = Literal["mark", "none", "withdrawn"]
MarkKind = Literal["scratch", "pit", "speck"]


@dataclass(frozen=True, slots=True)
class NewLabel:
    """One label as it leaves a person's hands.

    `uid` is made where it is given, so that sending it twice files it once. `finding` is its place among the findings
    of the judgement. `withdrawn` takes back what the person said of it before. `blind_id`: the blind round of which the
    finding was shown, without what the camera said; `again`: it was shown so a second time.
    """

    uid: str
    judgement_id: int
    finding: int
    label: LabelWord
    inspector: str
    identity: Literal["declared", "login"]
    given_at: str
    blind_id: int | None = None
    again: bool = False


@dataclass(frozen=True, slots=True)
class FindingLabel:
    """What a person says of a finding, with all that is needed to find it again in the frames.

    `x_mm`, `y_mm` are the drawing's, of a scratch those of its middle point; `probability` as it was judged then.
    `share` is the chance with which the finding was to be shown at all, by the inverse of which it is to be weighted.
    `folder` is that of the shot's frames, absolute or relative to the works folder, None where none was filed.
    """

    tray: str
    piece: int
    part: str
    station: str
    lot: str | None
    taken_at: str | None
    judgement_id: int
    kind: MarkKind
    x_mm: float
    y_mm: float
    probability: float
    label: Literal["mark", "none"]
    inspector: str
    share: float
    shown_because: ShownBecause
    folder: str | None
    finding: int


def give_label(store: Store, label: NewLabel) -> Receipt:
    """File what a person says of a finding.

    Parameters
    ----------
    store
        An open store.
    label
        By whom, of which finding of which judgement.

    Returns
    -------
    Receipt
        What came of it; one that can't be taken says why.
    """
    with store.write() as connection:
        return _give_in(connection, label)


def _give_in(connection: Connection, label: NewLabel) -> Receipt:
    table, judgement = schema.finding_label, schema.judgement
    of = select(judgement.c.piece_id).where(judgement.c.id == label.judgement_id).scalar_subquery()
    # The piece is locked, so that the same label sent twice at once is filed once.
    connection.execute(select(schema.piece.c.id).where(schema.piece.c.id == of).with_for_update())
    if find(connection, table, {"uid": label.uid}) is not None:
        return Receipt(label.uid, "known")
    judged = judged_pieces(connection, [label.judgement_id]).get(label.judgement_id)
    if judged is None:
        return Receipt(label.uid, "refused", "this judgement is not in the store: load the page again")
    asked = next((one for one in questions(label.judgement_id, judged) if one.finding == label.finding), None)
    if asked is None:
        return Receipt(label.uid, "refused", _why_not(judged, label.finding))
    if label.blind_id is not None and not _in_round(connection, label):
        return Receipt(label.uid, "refused", "this judgement is not of that blind round: load the page again")
    if label.again and not (drawn_again(label.judgement_id) and _said_before(connection, label)):
        return Receipt(label.uid, "refused", "this finding was not one to be shown a second time: load the page again")
    before = _newest(connection, label)
    if label.label == "withdrawn" and before in (None, "withdrawn"):
        return Receipt(label.uid, "refused", "nothing was said of this finding that could be taken back")
    add(connection, table, _values(label, asked, judged))
    changed = before not in (None, "withdrawn") and label.label != "withdrawn"
    return Receipt(label.uid, "corrected" if changed else "stored")


def _why_not(judged: JudgedPiece, finding: int) -> str:
    mark = judged.findings[finding] if finding < len(judged.findings) else None
    if not isinstance(mark, Scratch | Pit | Speck):
        return "this judgement has no such scratch, pit or speck: load the page again"
    if mark.probability is None:
        return "it was judged before chances were told: judge its tray again, then say so of that"
    return "this finding was not one to be shown: load the page again"


def _in_round(connection: Connection, label: NewLabel) -> bool:
    member = schema.blind_piece
    shown = (member.c.blind_id == label.blind_id, member.c.judgement_id == label.judgement_id)
    return connection.execute(select(member.c.place).where(*shown)).first() is not None


def _said_before(connection: Connection, label: NewLabel) -> bool:
    """Whether anybody ever said something of this finding."""
    table = schema.finding_label
    of = (table.c.judgement_id == label.judgement_id, table.c.finding == label.finding)
    return connection.execute(select(table.c.id).where(*of).limit(1)).first() is not None


def _newest(connection: Connection, label: NewLabel) -> str | None:
    """What the person said of this finding last."""
    table = schema.finding_label
    own = (table.c.finding == label.finding, table.c.inspector == label.inspector)
    query = select(table.c.label).where(table.c.judgement_id == label.judgement_id, *own)
    return connection.execute(query.order_by(table.c.id.desc()).limit(1)).scalar()


def _values(label: NewLabel, asked: Question, judged: JudgedPiece) -> dict[str, str | int | float]:
    mark = judged.findings[label.finding]
    assert isinstance(mark, Scratch | Pit | Speck)
    assert mark.probability is not None
    x_mm, y_mm = _place(mark)
    return {
        "uid": label.uid,
        "judgement_id": label.judgement_id,
        "finding": label.finding,
        "kind": mark.kind,
        "x_mm": x_mm,
        "y_mm": y_mm,
        "probability": mark.probability,
        "label": label.label,
        "shown_because": "blind" if label.blind_id is not None else "again" if label.again else asked.because,
        "share": asked.share,
        "inspector": label.inspector,
        "identity": label.identity,
        "given_at": label.given_at,
        "filed_at": now(),
    }


def _place(mark: Scratch | Pit | Speck) -> Pair:
    return mark.points_mm[len(mark.points_mm) // 2] if isinstance(mark, Scratch) else mark.center_mm


def labels(
    store: Store, part: str | None = None, station: str | None = None, lot: str | None = None
) -> tuple[FindingLabel, ...]:
    """What people say of findings: of each person and finding the newest, unless it was taken back.

    Parameters
    ----------
    store
        An open store.
    part
        A part's name; none: all parts.
    station
        A station's name; none: all stations.
    lot
        A lot's name; none: all lots, and what is in none.

    Returns
    -------
    tuple[FindingLabel, ...]
        In the order of filing.
    """
    table, piece, shot, tray = schema.finding_label, schema.piece, schema.shot, schema.tray
    query = (
        select(table, piece.c.piece, tray.c.tray, schema.lot.c.lot, shot.c.part, shot.c.station, shot.c.taken_at)
        .add_columns(_a_frame().label("frame"))
        .join(schema.judgement, schema.judgement.c.id == table.c.judgement_id)
        .join(piece, piece.c.id == schema.judgement.c.piece_id)
        .join(schema.filing, schema.filing.c.id == schema.judgement.c.filing_id)
        .join(shot, shot.c.id == schema.filing.c.shot_id)
        .join(tray, tray.c.id == shot.c.tray_id)
        .outerjoin(schema.lot, schema.lot.c.id == tray.c.lot_id)
        .where(table.c.id.in_(newest_labels()), table.c.label != "withdrawn")
        .order_by(table.c.id)
    )
    wanted = {shot.c.part: part, shot.c.station: station, schema.lot.c.lot: lot}
    query = query.where(*(column == name for column, name in wanted.items() if name is not None))
    with store.read() as connection:
        rows = connection.execute(query).all()
    return tuple(
        FindingLabel(
            tray=row.tray,
            piece=row.piece,
            part=row.part,
            station=row.station,
            lot=row.lot,
            taken_at=row.taken_at,
            judgement_id=row.judgement_id,
            kind=row.kind,
            x_mm=row.x_mm,
            y_mm=row.y_mm,
            probability=row.probability,
            label=row.label,
            inspector=row.inspector,
            share=row.share,
            shown_because=row.shown_because,
            folder=None if row.frame is None else str(PurePosixPath(row.frame).parent),
            finding=row.finding,
        )
        for row in rows
    )


def _a_frame() -> ColumnElement[str]:
    """The path of a frame of the shot at hand."""
    picture = schema.picture
    frames = select(func.min(picture.c.path)).where(picture.c.shot_id == schema.shot.c.id, picture.c.kind == "frame")
    return cast("ColumnElement[str]", frames.scalar_subquery())


def newest_labels(*some: ColumnElement[bool]) -> Select[tuple[int]]:
    """Of each person and finding the row filed last."""
    table = schema.finding_label
    return select(func.max(table.c.id)).where(*some).group_by(table.c.judgement_id, table.c.finding, table.c.inspector)


def labels_given(store: Store, inspector: str, judgement_ids: Sequence[int]) -> dict[int, dict[int, str]]:
    """What one person says of findings of judgements.

    Parameters
    ----------
    store
        An open store.
    inspector
        The person's name.
    judgement_ids
        Rows of judgements.

    Returns
    -------
    dict[int, dict[int, str]]
        `mark` or `none` by judgement and the finding's place in it.
    """
    table = schema.finding_label
    own = newest_labels(table.c.inspector == inspector, table.c.judgement_id.in_(judgement_ids))
    query = select(table.c.judgement_id, table.c.finding, table.c.label).where(table.c.id.in_(own))
    found: dict[int, dict[int, str]] = {}
    with store.read() as connection:
        for row in connection.execute(query.where(table.c.label != "withdrawn")):
            found.setdefault(row.judgement_id, {})[row.finding] = row.label
    return found


def label_count(store: Store, inspector: str) -> int:
    """Of how many findings a person said whether they are marks.

    Parameters
    ----------
    store
        An open store.
    inspector
        The person's name.

    Returns
    -------
    int
        Number of labels that count.
    """
    table = schema.finding_label
    counting = (table.c.id.in_(newest_labels(table.c.inspector == inspector)), table.c.label != "withdrawn")
    with store.read() as connection:
        return int(connection.execute(select(func.count()).select_from(table).where(*counting)).scalar_one())
