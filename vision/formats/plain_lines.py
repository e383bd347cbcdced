"""The plain lines of a DXF drawing, read at once: a drawing of a hundred thousand of them takes a second, not a minute.

DXF (as its publisher's reference has it) is pairs of lines, a group code and a value. A LINE that says no more than its
layer and its two ends is taken out here; all else is left for the library that reads the rest.
"""

from dataclasses import dataclass

import numpy as np

from vision.records import Array

# Group codes of a line that don't change where it lies: handle, owner, subclass, layer, linetype, colour, scale of
# the linetype, weight, material, true colour; then its ends.
_PLAIN = {b"5", b"330", b"100", b"8", b"6", b"62", b"48", b"370", b"347", b"420"}
_ENDS = (b"10", b"20", b"11", b"21")
_HEIGHTS = {b"30", b"31"}


@dataclass(frozen=True, slots=True, eq=False)
class PlainLines:
    """Lines (n, 2, 2) in drawing units with the names of their layers and line types (empty: the layer's) as bytes.

    `rest` is the drawing without them.
    """

    lines: Array
    layers: tuple[bytes, ...]
    line_types: tuple[bytes, ...]
    rest: bytes


def without_plain_lines(data: bytes) -> PlainLines:
    """Part a drawing's plain lines from the rest of it.

    Raises
    ------
    ValueError
        An end is no number.
    """
    text = data.splitlines()
    codes, values = [code.strip() for code in text[0::2]], text[1::2]
    begin, end = _entities(codes, values)
    starts = [at for at in range(begin, end) if codes[at] == b"0"]
    ends: list[float] = []
    layers: list[bytes] = []
    line_types: list[bytes] = []
    kept: list[bytes] = text[: 2 * begin]
    known: dict[tuple[bytes, ...], tuple[int, ...] | None] = {}
    for at, after in zip(starts, [*starts[1:], end], strict=True):
        if values[at].strip() == b"LINE" and after <= len(values):
            said = tuple(codes[at + 1 : after])
            if said not in known:
                known[said] = _places(said)
            places = known[said]
            if places is not None:
                layer, line_type, *xy = places
                layers.append(values[at + 1 + layer].strip())
                line_types.append(values[at + 1 + line_type].strip() if line_type >= 0 else b"")
                ends += [float(values[at + 1 + place]) for place in xy]
                continue
        kept += text[2 * at : 2 * after]
    kept += text[2 * end :]
    return PlainLines(
        np.array(ends, np.float64).reshape(-1, 2, 2), tuple(layers), tuple(line_types), b"\n".join(kept) + b"\n"
    )


def _entities(codes: list[bytes], values: list[bytes]) -> tuple[int, int]:
    """From where to where the section of entities goes; nothing of it where there is none."""
    for at in range(len(values) - 1):
        if codes[at] == b"2" and values[at].strip() == b"ENTITIES" and values[at - 1].strip() == b"SECTION":
            end = at + 1
            while end < len(values) and not (codes[end] == b"0" and values[end].strip() == b"ENDSEC"):
                end += 1
            return at + 1, end
    return len(values), len(values)


def _places(said: tuple[bytes, ...]) -> tuple[int, ...] | None:
    """Where layer, line type (-1: nowhere) and ends stand in a line of these codes; None: it is not plain."""
    wanted = (b"8", *_ENDS)
    if any(said.count(code) != 1 for code in wanted) or not {*said} <= {*_PLAIN, *_ENDS, *_HEIGHTS}:
        return None
    line_type = said.index(b"6") if b"6" in said else -1
    return said.index(b"8"), line_type, *(said.index(code) for code in _ENDS)
