"""A sample lot for a study: the results of many trays, each piece with its place."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from app.studies.camera_and_people import PieceKey
from vision.errors import Unusable
from vision.formats import read_result
from vision.records import JudgedPiece, Part, TrayResult, Zone


@dataclass(frozen=True, slots=True)
class Lot:
    """Trays in the order of their names; `unread` names each result that could not be read, in one line."""

    trays: Sequence[TrayResult]
    unread: Sequence[str] = ()

    def pieces(self) -> Iterator[tuple[PieceKey, JudgedPiece]]:
        """Every piece with its place."""
        for tray in self.trays:
            for piece in tray.pieces:
                yield PieceKey(tray.tray, piece.piece), piece


def part_as_seen(lot: Lot) -> Part:
    """What results alone tell of their part: its name and the zones that its measures name; no outline.

    Parameters
    ----------
    lot
        Results of one part.

    Returns
    -------
    Part
        A part that can be tuned and judged by, not measured by.
    """
    names = dict.fromkeys(
        zone
        for _, piece in lot.pieces()
        for value in piece.measures.values()
        if isinstance(value, Mapping)
        for zone in value
    )
    part = lot.trays[0].part
    zones = tuple(Zone(name, (0.0, 0.0)) for name in names)
    return Part(part, part, np.empty((0, 2)), (), zones, None)


def read_lot(folder: Path) -> Lot:
    """Read every `<tray>/result.json` of a folder of results, or the one in it.

    A result that can't be read is left out and named; the others still make a study.

    Parameters
    ----------
    folder
        Of results, or of one.

    Returns
    -------
    Lot
        The results, and a line for each that could not be read.

    Raises
    ------
    Unusable
        There is no result at all, none can be read, a tray comes twice, or the trays are of several parts.
    """
    paths = sorted(folder.glob("result.json")) or sorted(folder.glob("*/result.json"))
    if not paths:
        raise Unusable(folder, "", "results as `brightbowl inspect --out` leaves them: <tray>/result.json", "none")
    trays: dict[str, tuple[TrayResult, Path]] = {}
    unread: list[str] = []
    for path in paths:
        try:
            result = read_result(path)
        except Unusable as fault:
            unread.append(str(fault))
            continue
        if result.tray in trays:
            first = trays[result.tray][1].parent.name
            raise Unusable(path, "tray", f"each tray once; {result.tray} is also in {first}")
        trays[result.tray] = (result, path)
    if not trays:
        raise Unusable(folder, "", f"results that can be read; the first fault: {unread[0]}")
    parts = sorted({result.part for result, _ in trays.values()})
    if len(parts) > 1:
        raise Unusable(folder, "part", "results of one part; study each part alone", ", ".join(parts))
    return Lot([result for result, _ in trays.values()], unread)
