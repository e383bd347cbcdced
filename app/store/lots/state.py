"""A lot with all that is known of it: content, what people said, doubts, decisions, and the lots before it."""

import uuid
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from app.store.database.connection import Store
from app.store.database.definitions import digest
from app.store.lots.decisions import Decision, Word, decisions
from app.store.lots.lot_list import LotSummary, known_parts, list_lots, lot_values
from app.store.lots.lot_size import stated_size
from app.store.lots.pieces import LotContent, judgings_of, lot_content
from app.store.people.actor import Acted
from app.store.people.verdicts import Standing, holding, on_blind_pieces, standing
from app.store.stations.checks import SuspectTray, suspect_trays
from app.studies import (
    NO_VERDICT,
    PACKED,
    REJECT,
    Acceptance,
    Fate,
    LotFigures,
    PassedBlind,
    PieceKey,
    answers,
    fates_of,
    lot_figures,
    majority,
)
from vision.errors import Unusable
from vision.records import Verdict

_NAMED = 20
"""So many lots are named to somebody who asks for one that is not there."""


@dataclass(frozen=True, slots=True)
class BySample:
    """What a lot's sample came to, at an acceptance quality limit."""

    acceptance: Acceptance
    aql_percent: float


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
    suspect: tuple[SuspectTray, ...]
    decisions: tuple[Decision, ...]

    @property
    def size(self) -> int | None:
        """Pieces in the whole lot, where only a sample was photographed."""
        size = stated_size(self.values, self.part)
        return size if size is not None and size > len(self.content.pieces) else None

    @property
    def late_trays(self) -> tuple[str, ...]:
        """Trays filed, or filed anew, after the newest release or hold: it was taken without them."""
        newest = on_packing(self.decisions)
        return () if newest is None else _late(newest, self.content.judgings)

    @property
    def word(self) -> Literal["open", "released", "held"]:
        """What the newest release or hold made of the lot."""
        return _word(on_packing(self.decisions))

    @property
    def came_after(self) -> tuple[str, ...]:
        """What happened after the newest release or hold, in words; it was taken without knowing."""
        newest = on_packing(self.decisions)
        if newest is None:
            return ()
        came = _came_after(newest, self.content.judgings, self.suspect)
        # Later trays make other pieces go to packing anyway. A lot on hold waits for verdicts, so they are no news.
        changed = newest.decision == "release" and not self.late_trays and "packed" in newest.seen
        return (*came, "verdicts changed") if changed and newest.seen["packed"] != self._packed() else came

    @property
    def standing(self) -> str:
        """The lot's state in words: open, released or held, and what happened after that."""
        return _standing(self.word, self.came_after)

    def _packed(self) -> str:
        """A digest of which pieces go to packing."""
        return digest(sorted(key for key, fate in self.fates.items() if fate in PACKED))

    def decision(
        self,
        word: Word,
        acted: Acted,
        sampled: BySample | None = None,
    ) -> Decision:
        """A new decision by what stands here, and by the lot's sample where it has one."""
        seen, judgings = self.seen(sampled), frozenset(self.content.judgings)
        return Decision(str(uuid.uuid4()), self.lot, self.part, word, acted.by, acted.known, acted.why, seen, judgings)

    def seen(self, sampled: BySample | None = None) -> dict[str, Any]:
        """The figures that a decision is taken by."""
        figures = self.figures
        sample = None
        if sampled is not None:
            found = sampled.acceptance
            sample = {
                "aql_percent": sampled.aql_percent,
                "lot_size": found.size,
                "severity": found.severity,
                "sample_size": found.plan.size,
                "acceptance_number": found.plan.accept,
                "bad": found.bad,
                "outcome": found.outcome,
            }
        return {
            "trays": figures.trays,
            "pieces": figures.pieces,
            "to_packing": figures.to_packing,
            "packed": self._packed(),
            "waiting": figures.fates["waiting"],
            "sample": sample,
        }

    def why_not_released(self, leave_waiting: bool, sampled: Acceptance | None = None) -> str | None:
        """Why this lot can't be released as it stands; None where it can. `sampled`: how its sample came out."""
        if self.figures.pieces == 0:
            return "it has no piece"
        if self.suspect:
            return f"{len(self.suspect)} of its trays are to be judged again, since their station failed its check"
        waiting = self.figures.fates["waiting"]
        if waiting and not leave_waiting:
            return f"{waiting} of its pieces wait for review; review them, or say that they stay out of packing"
        if sampled is not None and sampled.outcome != "accepted":
            return f"its sample says: {sampled.outcome} ({sampled.inspected} of {sampled.plan.size} inspected)"
        return None


def on_packing(taken: Iterable[Decision]) -> Decision | None:
    """The newest release or hold among decisions, the newest last."""
    return next((one for one in reversed(tuple(taken)) if one.then is None), None)


def _word(newest: Decision | None) -> Literal["open", "released", "held"]:
    if newest is None:
        return "open"
    return "released" if newest.decision == "release" else "held"


def _standing(word: str, came_after: Sequence[str]) -> str:
    return f"{word}, then {' and '.join(came_after)}" if came_after else word


def _late(newest: Decision, judgings: Mapping[int, str]) -> tuple[str, ...]:
    """Trays of judgings that a decision was taken without."""
    return tuple(dict.fromkeys(tray for one, tray in judgings.items() if one not in newest.judgings))


def _came_after(newest: Decision, judgings: Mapping[int, str], suspect: Collection[SuspectTray]) -> tuple[str, ...]:
    """What happened to a lot's trays after a release or hold, in words.

    No lot is released while trays of it are in doubt, so that those in doubt now came into it later.
    """
    late, known = _late(newest, judgings), {tray for one, tray in judgings.items() if one in newest.judgings}
    came = {
        "more trays came": any(tray not in known for tray in late),
        "trays were judged anew": any(tray in known for tray in late),
        "trays were moved to another lot": not newest.judgings <= judgings.keys(),
        "trays fell into doubt": newest.decision == "release" and len(suspect) > 0,
    }
    return tuple(words for words, so in came.items() if so)


def standings(store: Store, lots: Iterable[LotSummary]) -> dict[tuple[str, str], str]:
    """The standing of those lots and parts that were decided on, without the time that reading all their pieces takes.

    Verdicts that changed after a decision show in `LotState.standing` only.

    Parameters
    ----------
    store
        An open store.
    lots
        As `list_lots` says.

    Returns
    -------
    dict[tuple[str, str], str]
        By lot and part; lots that nobody decided on are left out.
    """
    found = {}
    in_doubt = suspect_trays(store)
    for lot, part in [(one.lot, part) for one in lots for part in one.parts]:
        newest = on_packing(decisions(store, lot, part))
        if newest is not None:
            judgings = judgings_of(store, lot, part)
            trays = set(judgings.values())
            suspect = [one for one in in_doubt if one.tray in trays]
            found[lot, part] = _standing(_word(newest), _came_after(newest, judgings, suspect))
    return found


def lot_state(store: Store, lot: str, part: str | None = None) -> LotState:
    """Everything of one lot.

    Parameters
    ----------
    store
        An open store.
    lot
        Its name.
    part
        None where the lot is of one part.

    Returns
    -------
    LotState
        Pieces, fates, figures, verdicts, suspect trays and decisions, as they stand.

    Raises
    ------
    Unusable
        There is no such lot, or it is of several parts and none was named.
    """
    parts = known_parts(store, lot)
    if not parts:
        names = ", ".join(one.lot for one in list_lots(store, _NAMED))
        raise Unusable("lot", "", f"a lot of the store, such as {names or 'none yet'}", lot)
    if part is None and len(parts) > 1:
        raise Unusable("--part", "", f"one of {', '.join(parts)}", "none")
    name = parts[0] if part is None else part
    if name not in parts:
        raise Unusable("--part", "", f"one of {', '.join(parts)}", name)
    content = lot_content(store, lot, name)
    own = {piece.piece_id for piece in content.pieces}
    said = tuple(one for one in standing(store, piece_ids=sorted(own)) if one.blind is None)
    held = holding(store, sorted({one.piece_id for one in said}))
    fates = fates_of(content.pieces, held)
    passed = bad_among_passed(store, name, on_blind_pieces(store), own)
    figures = lot_figures(content.trays, content.pieces, fates, passed, held)
    trays = {tray.tray for tray in content.trays}
    suspect = tuple(tray for tray in suspect_trays(store, lot) if tray.tray in trays)
    taken = decisions(store, lot, name)
    return LotState(lot, name, content, fates, figures, said, lot_values(store, lot), suspect, taken)


def bad_among_passed(store: Store, part: str, said: tuple[Standing, ...], own: Collection[int]) -> PassedBlind:
    """Of the part's pieces that the camera passes: how many most people reject in blind rounds, of how many.

    The camera's newest verdict counts. A round draws its passed pieces at random, which makes the share hold for all of
    them; where limits were widened since, pieces flagged then are among them and make it too large rather than small.
    `own`: ids of the lot's own pieces. Ties are counted apart.
    """
    blind = [one for one in said if one.blind is not None]
    if not blind:
        return PassedBlind()
    judged = _verdicts_of(store, part, sorted({one.piece_id for one in blind}))
    found = answers(judged, blind)
    held = majority(found.first)
    bad, tied = found.passed & (held == REJECT), found.passed & (held == NO_VERDICT)
    ids = {PieceKey(one.tray, one.piece): one.piece_id for one in blind}
    here = np.array([ids[key] in own for key in found.pieces], dtype=np.bool_)
    counts = [bad, found.passed, bad & here, found.passed & here, tied, tied & here]
    return PassedBlind(*(int(one.sum()) for one in counts))


def _verdicts_of(store: Store, part: str, piece_ids: list[int]) -> dict[PieceKey, Verdict]:
    """The camera's newest verdict on pieces of a part."""
    from app.store.results.shown import newest_judgements, shown

    newest = newest_judgements(store, piece_ids)
    known = shown(store, list(newest.values()))
    return {PieceKey(one.tray, one.judged.piece): one.judged.verdict for one in known.values() if one.part == part}
