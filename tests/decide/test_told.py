"""Which findings people are told of."""

from dataclasses import replace

from vision.decide.told import told_findings
from vision.records.judged import JudgedPiece
from vision.records.measured import Pit, Speck


def test_what_is_likelier_no_mark_is_told_to_nobody() -> None:
    unlikely, likely = (Pit((0, 0), (0, 0), 0.3, 12.0, chance) for chance in (0.3, 0.9))
    dust = Speck((0, 0), (0, 0), 0.08, 12.0, 0.01)
    piece = JudgedPiece(1, "pass", (), None, None, {}, {}, (unlikely, likely, dust), (False, False, False))
    assert told_findings(piece) == (1, 2)
    assert told_findings(replace(piece, counted=(True, True, False))) == (0, 1, 2)
