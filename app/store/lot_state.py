"""A lot with all that is known of it: content, what people said, doubts, decisions, and the lots before it."""

from dataclasses import dataclass

from app.store.connection import Store
from app.store.decisions import Decision, decisions
from app.store.lot_pieces import LotContent, lot_content
from app.store.lots import lot_values, lots
from app.store.station_checks import DoubtfulTray, doubtful_trays
from app.store.verdicts import Standing, standing
from app.study.answers import PieceKey, answers, majority
from app.study.lot_figures import Fate, LotFigures, fates_of, lot_figures
from app.study.lot_sampling import Acceptance, SampledLot
from vision.errors import Unusable
from vision.records.judged import Verdict

LOT_SIZE = "lot_size"
"""Process value of a lot: how many pieces it has where only a sample of them was photographed."""


@dataclass(frozen=True, slots=True, eq=False)
class LotState:
    """One lot of one part."""

    lot: str
    part: str
    content: LotContent
    fates: dict[PieceKey, Fate]
    figures: LotFigures
    said: tuple[Standing, ...]
    values: dict[str, str | float]
    doubtful: tuple[DoubtfulTray, ...]
    decisions: tuple[Decision, ...]

    @property
    def size(self) -> int | None:
        """Pieces in the whole lot, where only a sample was photographed."""
        value = self.values.get(LOT_SIZE)
        return int(value) if isinstance(value, float) and value > len(self.content.pieces) else None

    @property
    def late_trays(self) -> tuple[str, ...]:
        """Trays filed after the newest decision: it was taken without them."""
        if not self.decisions:
            return ()
        return tuple(tray.tray for tray in self.content.trays if tray.filed_at > self.decisions[-1].given_at)

    @property
    def standing(self) -> str:
        """The lot's state in a word: open, released, held, or released before its last trays came."""
        if not self.decisions:
            return "open"
        word = {"release": "released", "hold": "held"}[self.decisions[-1].decision]
        return f"{word}, then more trays came" if self.late_trays else word

    def seen(self) -> dict[str, int]:
        """The figures that a decision is taken by."""
        figures = self.figures
        return {
            "trays": figures.trays,
            "pieces": figures.pieces,
            "to_packing": figures.to_packing,
            "waiting": figures.fates["waiting"],
        }

    def why_not_released(self, leave_waiting: bool, sampled: Acceptance | None = None) -> str | None:
        """Why this lot can't be released as it stands; None where it can. `sampled`: how its sample came out."""
        if self.figures.pieces == 0:
            return "it has no piece"
        if self.doubtful:
            return f"{len(self.doubtful)} of its trays are to be judged again, since their station failed its check"
        waiting = self.figures.fates["waiting"]
        if waiting and not leave_waiting:
            return f"{waiting} of its pieces wait for review; review them, or say that they stay out of packing"
        if sampled is not None and sampled.outcome != "accepted":
            return f"its sample says: {sampled.outcome} ({sampled.inspected} of {sampled.plan.size} inspected)"
        return None


def lot_state(store: Store, lot: str, part: str | None = None) -> LotState:
    """Everything of one lot.

    Raises
    ------
    Unusable
        There is no such lot, or it is of several parts and none was named.
    """
    known = {one.lot: one.parts for one in lots(store)}
    if lot not in known:
        raise Unusable("lot", "", f"one of {', '.join(known) or 'none yet'}", lot)
    if part is None and len(known[lot]) > 1:
        raise Unusable("--part", "", f"one of {', '.join(known[lot])}", "none")
    name = known[lot][0] if part is None else part
    if name not in known[lot]:
        raise Unusable("--part", "", f"one of {', '.join(known[lot])}", name)
    content = lot_content(store, lot, name)
    everybody = standing(store)
    own = {piece.piece_id for piece in content.pieces}
    said = tuple(one for one in everybody if one.piece_id in own and one.blind is None)
    fates = fates_of(content.pieces, said)
    figures = lot_figures(content.trays, content.pieces, fates, missed_by_camera(store, name, everybody))
    trays = {tray.tray for tray in content.trays}
    doubtful = tuple(tray for tray in doubtful_trays(store, lot) if tray.tray in trays)
    return LotState(lot, name, content, fates, figures, said, lot_values(store, lot), doubtful, decisions(store, lot))


def missed_by_camera(store: Store, part: str, said: tuple[Standing, ...]) -> tuple[int, int]:
    """Of the part's pieces that most people rejected in blind rounds: how many the camera passes, and how many all."""
    blind = [one for one in said if one.blind is not None]
    if not blind:
        return 0, 0
    judged = _verdicts_of(store, part, sorted({one.piece_id for one in blind}))
    found = answers(judged, blind)
    bad = majority(found.first) == 1
    return int((found.passed & bad).sum()), int(bad.sum())


def _verdicts_of(store: Store, part: str, piece_ids: list[int]) -> dict[PieceKey, Verdict]:
    """The camera's newest verdict on pieces of a part."""
    from app.store.shown import newest_judgements, shown

    newest = newest_judgements(store, piece_ids)
    known = shown(store, list(newest.values()))
    return {PieceKey(one.tray, one.judged.piece): one.judged.verdict for one in known.values() if one.part == part}


def series_up_to(store: Store, state: LotState) -> tuple[SampledLot, ...]:
    """The part's lots that were inspected by sample, up to and with this one, in order of time."""
    series = []
    everybody = [one for one in standing(store) if one.blind is None]
    for known in lots(store):
        size = lot_values(store, known.lot).get(LOT_SIZE)
        if state.part in known.parts and isinstance(size, float):
            pieces = lot_content(store, known.lot, state.part).pieces
            own = {piece.piece_id for piece in pieces}
            fates = fates_of(pieces, [one for one in everybody if one.piece_id in own])
            series.append(SampledLot(known.lot, int(size), tuple(fates.values())))
        if known.lot == state.lot:
            break
    return tuple(series)
