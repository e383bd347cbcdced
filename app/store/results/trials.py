"""Trials beside what stands: what other limits, another calibration or another drawing made of the same trays."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.database.definitions import Kind
from app.store.results.acts import judgements_of
from vision.records import Verdict


@dataclass(frozen=True, slots=True)
class Trial:
    """A tray's newest trial; `differs`: what judged it that did not judge what stands.

    `stands` and `trial`: verdicts by piece number; `stands` is empty where nothing but trials was filed.
    """

    tray: str
    lot: str | None
    judged_at: str
    differs: tuple[Kind, ...]
    stands: Mapping[int, Verdict]
    trial: Mapping[int, Verdict]

    @property
    def changed(self) -> dict[int, tuple[Verdict | None, Verdict | None]]:
        """Pieces of which the two say different things, by number: what stands, and the trial."""
        pairs = {number: (self.stands.get(number), self.trial.get(number)) for number in {*self.stands, *self.trial}}
        return {number: pair for number, pair in sorted(pairs.items()) if pair[0] != pair[1]}


def trials(store: Store, lot: str | None = None) -> tuple[Trial, ...]:
    """The newest trial of each tray, of one lot or of all, in the order of filing.

    Parameters
    ----------
    store
        An open store.
    lot
        Its name; none: all lots.

    Returns
    -------
    tuple[Trial, ...]
        With what they were judged by that differs from what stands, and the verdicts of both.
    """
    judging, filing, shot, tray = schema.judging, schema.filing, schema.shot, schema.tray
    query = (
        select(judging, tray.c.id.label("tray_id"), tray.c.tray, schema.lot.c.lot)
        .join(filing, filing.c.id == judging.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(tray, tray.c.id == shot.c.tray_id)
        .outerjoin(schema.lot, schema.lot.c.id == tray.c.lot_id)
        .where(judging.c.proof == "trial")
        .order_by(judging.c.id)
    )
    if lot is not None:
        query = query.where(schema.lot.c.lot == lot)
    found = []
    with store.read() as connection:
        newest = {row.tray_id: row for row in connection.execute(query)}

        def verdicts(filing_id: int) -> dict[int, Verdict]:
            table, piece = schema.judgement, schema.piece
            ids = list(judgements_of(connection, filing_id).values())
            rows = select(piece.c.piece, table.c.verdict).join(table, table.c.piece_id == piece.c.id)
            return {row.piece: row.verdict for row in connection.execute(rows.where(table.c.id.in_(ids)))}

        for tray_id, row in newest.items():
            stands = schema.standing_tray
            act = select(judging).join(stands, stands.c.judging_id == judging.c.id).where(stands.c.tray_id == tray_id)
            now = connection.execute(act).first()
            pairs: dict[Kind, bool] = {
                "part": now is not None and now.part_digest != row.part_digest,
                "station": now is not None and now.station_digest != row.station_digest,
                "limits": now is not None and now.limits_digest != row.limits_digest,
            }
            differs = tuple(kind for kind, other in pairs.items() if other)
            before = {} if now is None else verdicts(now.filing_id)
            judged_at = row.judged_at or row.filed_at
            found.append(Trial(row.tray, row.lot, judged_at, differs, before, verdicts(row.filing_id)))
    return tuple(found)


def verdict_counts(verdicts: Mapping[int, Verdict]) -> str:
    """How many pieces got which verdict, in words.

    Parameters
    ----------
    verdicts
        By number of the piece.

    Returns
    -------
    str
        A line.
    """
    found = Counter(verdicts.values())
    return ", ".join(f"{verdict} {found[verdict]}" for verdict in ("pass", "review", "reject"))
