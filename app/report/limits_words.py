"""How the limits stood that judged, in words: said on every page, report and line where it is not as it should be."""

from collections.abc import Iterable, Mapping

from vision.records import LimitsStanding

_WORDS: dict[LimitsStanding, str] = {
    "draft": "Judged by a draft of the limits, which nobody has released: a trial, nothing to pack by.",
    "not in force": "Judged by limits other than those in force: a trial, nothing to pack by.",
    "released by nobody": "Judged by limits that say released, though nobody put them into force by name.",
}


def limits_words(standings: Iterable[LimitsStanding | None]) -> list[str]:
    """What must be said of the limits that judged some trays; nothing where all were in force.

    Parameters
    ----------
    standings
        How the limits stood that judged each; none where nothing says so.

    Returns
    -------
    list[str]
        A sentence each.
    """
    found = set(standings)
    return [words for standing, words in _WORDS.items() if standing in found]


def lot_limits_words(trays: Mapping[LimitsStanding | None, int]) -> list[str]:
    """What must be said of the limits that judged a lot's trays, and of how many trays nothing says by what they were
    judged.

    Parameters
    ----------
    trays
        How many trays were judged by limits that stood so; none where nothing says so.

    Returns
    -------
    list[str]
        A sentence each.
    """
    unproven = trays.get(None, 0)
    unknown = f"Unproven: of {unproven} trays nothing says by which limits they were judged."
    return [*limits_words(standing for standing, count in trays.items() if count), *([unknown] if unproven else [])]
