"""Which of a piece's findings people are told of."""

from vision.records import JudgedPiece, Pit, Scratch


def told_findings(judged: JudgedPiece) -> tuple[int, ...]:
    """Which findings of a piece people are told of: all but candidates that do not count and are likelier no marks.

    Parameters
    ----------
    judged
        A piece as judged.

    Returns
    -------
    tuple[int, ...]
        Their indices, rising.
    """
    pairs = enumerate(zip(judged.findings, judged.counted, strict=True))
    return tuple(k for k, (one, counts) in pairs if counts or not isinstance(one, Scratch | Pit) or one.likely)
