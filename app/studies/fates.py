"""What became of each piece of a lot."""

from collections.abc import Iterable

from app.studies.camera_and_people import PersonVerdict, PieceKey
from app.studies.lot_summary import Fate, LotPiece
from vision.records import Verdict


def fates_of(pieces: Iterable[LotPiece], said: Iterable[PersonVerdict]) -> dict[PieceKey, Fate]:
    """What became of each piece: a person's newest word on it outweighs the camera's.

    Parameters
    ----------
    pieces
        With the camera's verdicts.
    said
        People's verdicts in the order given; blind rounds, which only test people and camera, left out.

    Returns
    -------
    dict[PieceKey, Fate]
        By tray and number.
    """
    newest = {PieceKey(one.tray, one.piece): one.verdict for one in said}
    by_camera: dict[Verdict, Fate] = {"pass": "passed", "review": "waiting", "reject": "sorted out"}
    fates: dict[PieceKey, Fate] = {}
    for piece in pieces:
        key = piece.key
        word = newest.get(key)
        if word is None or (word == "accept" and piece.verdict == "pass"):
            fates[key] = by_camera[piece.verdict]
        else:
            fates[key] = "accepted" if word == "accept" else "rejected"
    return fates
