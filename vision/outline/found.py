"""What a dark region was made out to be: pieces with their places and edges, and what is said of the tray."""

from collections.abc import Iterable
from dataclasses import dataclass

from vision.outline.piece import Edge
from vision.outline.placement import Placement
from vision.records import Fault, Pair, TrayFinding


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Something numbered as a piece: where, and how it may be measured (`placement` None where it can't be)."""

    center_px: Pair
    fault: Fault | None
    placement: Placement | None
    edge: Edge | None


@dataclass(frozen=True, slots=True, eq=False)
class RegionContents:
    """What was made of one region or of several: pieces, findings, and the blur of their edges (standard deviation)."""

    pieces: tuple[Found, ...] = ()
    findings: tuple[TrayFinding, ...] = ()
    blurs_px: tuple[float, ...] = ()


def together(parts: Iterable[RegionContents]) -> RegionContents:
    """All that was made of several regions, in their order."""
    every = tuple(parts)
    return RegionContents(
        tuple(piece for one in every for piece in one.pieces),
        tuple(finding for one in every for finding in one.findings),
        tuple(blur for one in every for blur in one.blurs_px),
    )
