"""Why a piece did not pass, in a word or two: what counts are made of."""

from vision.records import JudgedPiece, Reason


def first_reason(piece: JudgedPiece) -> str:
    """A piece's worst reason, or its fault where no limit is broken.

    Parameters
    ----------
    piece
        One that did not pass.

    Returns
    -------
    str
        A fault, or a measure with its zone.
    """
    if piece.fault and (not piece.reasons or piece.reasons[0].outcome == "review"):
        return piece.fault
    return reason_name(piece.reasons[0])


def reason_name(reason: Reason) -> str:
    """A measure, with its zone where it has one.

    Parameters
    ----------
    reason
        Of a verdict.

    Returns
    -------
    str
        `measure` or `measure.zone`.
    """
    return f"{reason.measure}.{reason.zone}" if reason.zone else reason.measure
