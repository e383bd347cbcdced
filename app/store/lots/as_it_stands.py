"""Decisions on a lot, taken on what stands at that moment: nothing else is filed between the look and the decision."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.statistics import Level
from app.store.database.connection import Store
from app.store.evidence.chain import hold_end
from app.store.lots.decisions import Word, decide
from app.store.lots.series import series_up_to
from app.store.lots.state import BySample, LotState, lot_state
from app.store.people.actor import Acted
from app.store.stations.challenges import why_unchallenged
from app.studies import Acceptance, accept_series
from vision.errors import Unusable

_NAMED = 5
"""So many trays are named to somebody whose lot changed."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What a person decides on a lot, and by what that is checked.

    `leave_waiting`: pieces that wait stay out of packing; `aql`, `level`: of a lot by sample; `challenge_hours`: how
    fresh the challenge must be that a release asks for, None where the works asks for none.
    """

    words: tuple[Word, ...]
    acted: Acted
    leave_waiting: bool = False
    aql: float = 1.0
    level: Level = "II"
    challenge_hours: float | None = None


def decide_as_it_stands(store: Store, lot: str, part: str, wish: Wish, shown: LotState | None = None) -> None:
    """File decisions by the lot's state in the very transaction that files them: all of them or none.

    Parameters
    ----------
    store
        An open store.
    lot
        Its name.
    part
        The part's name.
    wish
        What is decided, by whom and why.
    shown
        What the person had in sight; where the lot is another by now, nothing is filed.

    Raises
    ------
    Unusable
        Something speaks against it (`found` says what), or the lot changed since it was shown (`found` says how).
    """
    with store.write() as connection:
        hold_end(connection)
        state = lot_state(store, lot, part)
        changed = () if shown is None else changes_since(shown, state)
        if changed:
            expected = "the lot as it was shown; look at it as it is now, then decide"
            raise Unusable(f"lot {lot}", " and ".join(wish.words), expected, f"since then {'; '.join(changed)}")
        series = accept_series(series_up_to(store, state), wish.aql, wish.level) if state.size is not None else ()
        found = series[-1] if series else None
        by_sample = None if found is None else BySample(found, wish.aql)
        for word in wish.words:
            _check(store, state, found, word, wish)
        for word in wish.words:
            decide(connection, state.decision(word, wish.acted, by_sample))


def changes_since(before: LotState, after: LotState) -> tuple[str, ...]:
    """What happened to a lot between two looks, in words."""
    said = []
    new = [tray for one, tray in after.content.judgings.items() if one not in before.content.judgings]
    known = set(before.content.judgings.values())
    came = {"came": [tray for tray in new if tray not in known], "judged anew": [tray for tray in new if tray in known]}
    came["left it"] = sorted(known - set(after.content.judgings.values()))
    suspect = {one.tray for one in before.suspect}
    came["in doubt"] = [one.tray for one in after.suspect if one.tray not in suspect]
    said += [f"trays {words}: {_named(trays)}" for words, trays in came.items() if trays]
    said += [
        f"{one.given_by} decided {one.decision}" for one in after.decisions[len(before.decisions) :]
    ]  # they are only ever added
    then, now = before.seen(), after.seen()
    for key, words in (("waiting", "waiting for review"), ("to_packing", "to packing")):
        if then[key] != now[key]:
            said.append(f"{words} {now[key]}, was {then[key]}")
    if not said and (then != now or before.fates != after.fates):
        said.append("verdicts changed")
    if before.values != after.values:
        said.append("its stated size or another value of it changed")
    return tuple(said)


def _named(trays: Sequence[str]) -> str:
    some = list(dict.fromkeys(trays))
    return ", ".join(some[:_NAMED]) + (f" and {len(some) - _NAMED} more" if len(some) > _NAMED else "")


def _check(store: Store, state: LotState, acceptance: Acceptance | None, word: Word, wish: Wish) -> None:
    """Refuse a decision that something speaks against."""
    where = f"lot {state.lot}"
    if word == "release":
        against = state.why_not_released(wish.leave_waiting, acceptance)
        if against is not None:
            expected = "a lot that may be released (--leave-waiting leaves waiting pieces out of packing)"
            raise Unusable(where, "--release", expected, against)
        against = why_unchallenged(store, state.lot, state.part, wish.challenge_hours)
        if against is not None:
            expected = f"a challenge passed within {wish.challenge_hours:g} hours, as works.toml demands"
            raise Unusable(where, "--release", expected, against)
    elif word != "hold":
        if acceptance is None:
            raise Unusable(where, f"--next {word}", "a lot by sample; say how large it is: --size PIECES")
        against = acceptance.why_not_begin(word)
        if against is not None:
            allowed = " or ".join(acceptance.may_begin) or "nothing"
            expected = f"ISO 2859-1 leaves {allowed} to be chosen after this lot"
            raise Unusable(where, f"--next {word}", expected, against)
