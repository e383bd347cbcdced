"""The curves of a DXF drawing's model space as chords, within bounds: whatever a drawing says, it can't cost more.

What lies on a layer that is frozen or off is left out, as it is on the screen, and named.
"""

import io
import logging
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from vision.errors import Unusable
from vision.formats.bounded import BROKEN, DRAWING_BYTES, read_bytes
from vision.formats.dxf_taking import MOST_ENTITIES, Taking
from vision.formats.plain_lines import PlainLines, without_plain_lines
from vision.records import Array

# A spoon's drawing has some thousand pairs beside plain lines.
MOST_TAGS = 400_000
_BINARY, _BINARY_BYTES = b"AutoCAD Binary DXF", 1_000_000  # how a binary drawing begins, by the format's own definition
UNIT_NAMES = {0: "no units", 1: "inches", 2: "feet", 5: "centimetres", 6: "metres", 13: "micrometres"}


@dataclass(frozen=True, slots=True, eq=False)
class DxfCurves:
    """Plain lines (m, 2, 2), other curves, each (n, 2), in mm, ends included.

    `left_out`: layers that are frozen or off and hold something.
    """

    lines: Array
    curves: list[Array]
    left_out: tuple[str, ...]


def dxf_curves(path: Path) -> DxfCurves:
    """Read a drawing's curves.

    Raises
    ------
    Unusable
        It is none, not in mm, leaves a bound, or holds what is neither curve nor mark; the entity is named.
    """
    from ezdxf.lldxf.const import DXFError  # here, since it takes most of a second that nothing else needs
    from ezdxf.units import MM

    plain, drawing = opened(path)
    try:
        unit, hidden = int(drawing.units), hidden_layers(drawing)
    except BROKEN:
        raise damaged(path) from None
    if unit != MM:
        found = UNIT_NAMES.get(unit, f"unit code {unit}")
        raise Unusable(path, "$INSUNITS", "a drawing in millimetres (4) expected; set its units and scale", found)
    taking = Taking(path, hidden)
    names = [layer.decode("utf-8", "replace").lower() for layer in plain.layers]
    taking.left_out |= {*names} & hidden.keys()
    seen = np.array([name not in hidden for name in names], bool)
    lines = plain.lines[seen]
    taking.check_extent(lines, "LINE")
    curves: list[Array] = []
    for entity in drawing.modelspace():
        try:
            curves += [taking.flattened(one.entity) for one in taking.primitives(entity)]
        except (DXFError, *BROKEN) as fault:
            expected, found = "an entity that can be drawn expected; remove it", str(fault) or type(fault).__name__
            raise taking.refused(entity, expected, found) from None
    if not (len(lines) or curves):
        hint = f"; the layers {', '.join(sorted(taking.left_out))} are frozen or off" if taking.left_out else ""
        raise Unusable(path, "", f"a closed outline expected{hint}", "no curve in the model space")
    return DxfCurves(lines, curves, tuple(sorted(taking.left_out)))


def opened(path: Path) -> tuple[PlainLines, Any]:
    """The plain lines, and the rest as the library has it."""
    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)  # its warnings name no file; the errors raised here do
    from ezdxf.filemanagement import dxf_stream_info, read, readfile
    from ezdxf.lldxf.const import DXFError

    data = read_bytes(path, DRAWING_BYTES)
    try:
        if data.startswith(_BINARY):
            if len(data) > _BINARY_BYTES:
                raise Unusable(path, "", "a binary drawing of at most 1 MB expected; save it as text")
            return PlainLines(np.empty((0, 2, 2)), (), (), b""), readfile(path)
        plain = without_plain_lines(data)
        tags, entities = plain.rest.count(b"\n") // 2, plain.rest.count(b"\n0\n") + plain.rest.count(b"\n  0\n")
        if tags > MOST_TAGS or entities > 2 * MOST_ENTITIES:
            expected = f"a drawing of at most {MOST_TAGS} pairs and {2 * MOST_ENTITIES} entities beside plain lines"
            raise Unusable(path, "", f"{expected} expected", f"{tags} and {entities}")
        encoding = dxf_stream_info(io.StringIO(plain.rest.decode("latin-1"))).encoding
        return plain, read(io.StringIO(plain.rest.decode(encoding, "surrogateescape")))
    except (OSError, DXFError, *BROKEN):
        raise damaged(path) from None


def damaged(path: Path) -> Unusable:
    return Unusable(path, "", "a whole DXF drawing expected; export it again")


def hidden_layers(drawing: Any) -> dict[str, str]:
    """The layers that are not shown, in lower case, and why: frozen or off."""
    found = {}
    for layer in drawing.layers:
        if layer.is_frozen():
            found[layer.dxf.name.lower()] = "frozen"
        elif layer.is_off():
            found[layer.dxf.name.lower()] = "off"
    return found


def left_out_words(path: Path, layers: Iterable[str]) -> str:
    """What to tell a person of layers that were left out.

    Parameters
    ----------
    path
        The part's file.
    layers
        Their names, as `Part.left_out` has them.

    Returns
    -------
    str
        One line.
    """
    return f"{path}: left out, since frozen or off: layer {', '.join(layers)}"
