"""A judged tray with all that its pictures are drawn from."""

from collections.abc import Iterator
from dataclasses import dataclass

from vision.records import JudgedPiece, Limits, MeasuredPiece, MeasuredTray, Part, Station, TrayPictures, TrayResult


@dataclass(frozen=True, slots=True, eq=False)
class Inspected:
    """One tray: its frames, what they were measured with, and what came out.

    `measured` holds the profiles that `result` (what `result.json` holds) leaves out; both list the same pieces.
    """

    result: TrayResult
    measured: MeasuredTray
    pictures: TrayPictures
    part: Part
    station: Station
    limits: Limits

    def pieces(self) -> Iterator[tuple[MeasuredPiece, JudgedPiece]]:
        """Each piece as measured and as judged, in reading order."""
        return zip(self.measured.pieces, self.result.pieces, strict=True)
