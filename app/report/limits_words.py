"""How the limits stood that judged, in words: said on every page, report and line where it is not as it should be."""

from collections.abc import Iterable

from vision.records import LimitsStanding

_WORDS: dict[LimitsStanding, str] = {
    "draft": "Judged by a draft of the limits, which nobody has released: a trial, nothing to pack by.",
    "not in force": "Judged by limits other than those in force: a trial, nothing to pack by.",
    "released by nobody": "Judged by limits that say released, though nobody put them into force by name.",
}


def limits_words(standings: Iterable[LimitsStanding | None]) -> list[str]:
    """What must be said of the limits that judged some trays; nothing where all were in force."""
    found = set(standings)
    return [words for standing, words in _WORDS.items() if standing in found]
