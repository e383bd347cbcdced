"""What people said of one lot, sample by sample: blind rounds with their designs, tables, or all that stands."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from sqlalchemy import select

from app.store.database import schema
from app.store.database.connection import Store
from app.store.people.blind_rounds import Blind, blinds
from app.store.people.drawing import judged_until
from app.store.people.verdicts import Standing, standing
from app.studies import FLAGGED, PieceKey, Sample, Stratum
from vision.errors import Unusable


@dataclass(frozen=True, slots=True)
class Choice:
    """Which verdicts are wanted: of one blind round (`blind`), or all that stand (`in_sight`); else all blind rounds.

    Where a lot has no blind round, verdicts brought in from a table are taken.
    """

    blind: str | None = None
    in_sight: bool = False


def samples_of(store: Store, lot: str, part: str, choice: Choice = Choice()) -> list[Sample]:
    """What people said of a lot of one part.

    Parameters
    ----------
    store
        An open store.
    lot
        Its name.
    part
        The part's name.
    choice
        Which verdicts: of one round, of all, or those given in sight too.

    Returns
    -------
    list[Sample]
        A sample for each round, oldest first; without rounds one of what a table brought.

    Raises
    ------
    Unusable
        There is no such blind round.
    """
    pieces = _pieces_of(store, lot, part)
    if choice.in_sight:
        return [Sample("", "in sight", _own(standing(store), pieces))]
    rounds = [one for one in blinds(store) if choice.blind in (None, one.name)]
    if choice.blind is not None and not rounds:
        known = ", ".join(one.name for one in blinds(store)) or "none was begun"
        raise Unusable("--blind", "", f"a blind round: {known}", choice.blind)
    found = [_round(store, one, lot, part, pieces) for one in reversed(rounds)]
    told = [sample for sample in found if sample.strata and (sample.verdicts or choice.blind is not None)]
    if told or choice.blind is not None:
        return told or [Sample(choice.blind or "", "blind", ())]
    imported = [one for one in _own(standing(store), pieces) if one.blind is None and one.identity == "imported"]
    return [Sample("", "table" if imported else "blind", tuple(imported))]


def _pieces_of(store: Store, lot: str, part: str) -> frozenset[int]:
    """Ids of the pieces that stand in a lot."""
    stands, judgement, filing, shot = schema.standing_piece, schema.judgement, schema.filing, schema.shot
    query = (
        select(stands.c.piece_id)
        .join(judgement, judgement.c.id == stands.c.judgement_id)
        .join(filing, filing.c.id == judgement.c.filing_id)
        .join(shot, shot.c.id == filing.c.shot_id)
        .join(schema.tray, schema.tray.c.id == shot.c.tray_id)
        .join(schema.lot, schema.lot.c.id == schema.tray.c.lot_id)
        .where(schema.lot.c.lot == lot, shot.c.part == part)
    )
    with store.read() as connection:
        return frozenset(int(one) for one in connection.execute(query).scalars())


def _own(said: Iterable[Standing], pieces: Collection[int]) -> tuple[Standing, ...]:
    return tuple(one for one in said if one.piece_id in pieces)


def _round(store: Store, blind: Blind, lot: str, part: str, pieces: Collection[int]) -> Sample:
    """One blind round, as far as it tells of the lot."""
    said = _own(standing(store, blind=blind.name), pieces)
    kept = _kept_sizes(store, blind, lot, part)
    stratum_of = _strata_of(store, blind, pieces)
    if kept:
        sizes: Mapping[str, int] = kept
    else:
        # Begun before designs were kept: the program then drew at random within flagged and passed pieces.
        then = judged_until(store, lot, blind.made_at)
        sizes = Counter(_side(one.verdict) for one in then if one.part == part)
        stratum_of = {key: _side(name) for key, name in stratum_of.items()}
    drawn = Counter(stratum_of.values())
    # Of a stratum without a drawn piece nothing is known: it stands, so that nothing is told of the whole lot.
    strata = tuple(Stratum(name, size, drawn[name]) for name, size in sorted(sizes.items())) if drawn else ()
    begun = f"{blind.made_at[:10]} by {blind.made_by}"
    return Sample(blind.name, "blind", said, strata, stratum_of, kept=bool(kept), begun=begun)


def _side(verdict: str) -> str:
    return "pass" if verdict == "pass" else FLAGGED


def _kept_sizes(store: Store, blind: Blind, lot: str, part: str) -> dict[str, int]:
    """Pieces of the lot in each stratum that the round was drawn from; empty for a round begun before it was kept."""
    table = schema.blind_stratum
    query = select(table.c.stratum, table.c.size).where(
        table.c.blind_id == blind.id, table.c.lot == lot, table.c.part == part
    )
    with store.read() as connection:
        return {row.stratum: int(row.size) for row in connection.execute(query)}


def _strata_of(store: Store, blind: Blind, pieces: Collection[int]) -> dict[PieceKey, str]:
    """The stratum of each of the round's pieces among these; the verdict that was shown where none was kept."""
    member, judgement, piece, tray = schema.blind_piece, schema.judgement, schema.piece, schema.tray
    query = (
        select(member.c.piece_id, tray.c.tray, piece.c.piece, member.c.stratum, judgement.c.verdict)
        .join(piece, piece.c.id == member.c.piece_id)
        .join(tray, tray.c.id == piece.c.tray_id)
        .join(judgement, judgement.c.id == member.c.judgement_id)
        .where(member.c.blind_id == blind.id)
    )
    with store.read() as connection:
        rows = connection.execute(query).all()
    return {PieceKey(row.tray, row.piece): row.stratum or row.verdict for row in rows if row.piece_id in pieces}
