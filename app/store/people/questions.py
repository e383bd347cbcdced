"""Which findings of a piece a person is asked about: is it a mark or none?

All that people are told of anyway, all that the judge of marks is in doubt of, and a random share of those that it took
for none: what is never shown can't be learned. The draw follows from the judgement and the finding alone, so that a
page that is loaded anew asks the same.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from vision.decide import told_findings
from vision.records import Finding, JudgedPiece, Pit, Scratch, Speck

ShownBecause = Literal["sure", "sample", "again", "blind"]
"""Why a finding was shown: people are told of it; it was drawn, or in doubt; a second time; blind."""

SAMPLED_FROM = 0.02  # less likely ones are not kept in a result
SAMPLED_BELOW = 0.1  # from here on it is in doubt: always asked about
SAMPLED_SHARE = 0.1
SAMPLED_MOST = 2  # of a piece: questions must not outweigh the piece's own findings
AGAIN_SHARE = 0.1  # of the pieces of which something was said


@dataclass(frozen=True, slots=True)
class Question:
    """A finding, by its place in the judgement, to be asked about; `share`: the chance that it was to be shown."""

    finding: int
    because: ShownBecause
    share: float


def questions(judgement_id: int, judged: JudgedPiece) -> tuple[Question, ...]:
    """The findings of a judgement that a person may tell a mark or none.

    Parameters
    ----------
    judgement_id
        Row of the judgement.
    judged
        What it says.

    Returns
    -------
    tuple[Question, ...]
        Those that people are told of, in the order of the findings, then those in doubt and those drawn; none that was
        judged before chances were told.
    """
    told = {*told_findings(judged), *(index for one in judged.reasons for index in one.findings)}
    chances = {index: _chance(one) for index, one in enumerate(judged.findings)}
    sure = tuple(Question(index, "sure", 1.0) for index in sorted(told) if chances[index] is not None)
    unlikely = [
        index
        for index, chance in chances.items()
        if index not in told and chance is not None and SAMPLED_FROM <= chance < SAMPLED_BELOW
    ]
    lots = {index: _lot(judgement_id, index) for index in unlikely}
    drawn = sorted((index for index in unlikely if lots[index] < SAMPLED_SHARE), key=lots.__getitem__)[:SAMPLED_MOST]
    share = share_shown(len(unlikely)) if drawn else 0.0
    doubtful = [
        index
        for index, chance in chances.items()
        if index not in told and chance is not None and chance >= SAMPLED_BELOW
    ]
    asked = [
        *(Question(index, "sample", 1.0) for index in doubtful),
        *(Question(one, "sample", share) for one in drawn),
    ]
    return (*sure, *asked)


def share_shown(count: int) -> float:
    """The chance that one of `count` unlikely findings of a piece is shown: of so many drawn, only the first are."""
    none = (1.0 - SAMPLED_SHARE) ** count
    one = count * SAMPLED_SHARE * (1.0 - SAMPLED_SHARE) ** (count - 1)
    return (one + SAMPLED_MOST * (1.0 - none - one)) / count


def drawn_again(judgement_id: int) -> bool:
    """Whether the findings of a judgement are shown a second time, once something was said of them."""
    return _lot(judgement_id, -1) < AGAIN_SHARE


def mixed(judgement_id: int, findings: Iterable[int]) -> tuple[int, ...]:
    """Findings in an order that tells nothing of what the camera holds of them; it stays the same."""
    return tuple(sorted(findings, key=lambda one: _lot(judgement_id, one)))


def _chance(finding: Finding) -> float | None:
    return finding.probability if isinstance(finding, Scratch | Pit | Speck) else None


def _lot(judgement_id: int, finding: int) -> float:
    """A number from 0 to 1 that belongs to a finding for ever."""
    drawn = hashlib.blake2b(f"question {judgement_id} {finding}".encode(), digest_size=8).digest()
    return int.from_bytes(drawn) / 2.0**64
