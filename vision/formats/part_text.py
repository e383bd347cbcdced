"""A part's draft as files: part.toml with a comment at each line, and the outline that it uses as a drawing."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vision.formats.atomic_write import write_atomic
from vision.records import Array, Surface, Zone

_DECIMALS = 6  # of a coordinate, mm: a millionth, far below the chords' own error


@dataclass(frozen=True, slots=True)
class PartText:
    """What part.toml says: identity, the drawing beside it, zones with their widest width (mm), scored area.

    `origin`: where the outline comes from and what was done to it, a line each, as comments at the head;
    `traced_from`: the photograph that it was traced from, None where it was drawn.
    """

    part: str
    name: str
    nominal: str
    zones: tuple[Zone, ...]
    widest_mm: tuple[float, ...]
    surface: Surface | None
    origin: tuple[str, ...]
    traced_from: str | None = None


def part_as_toml(text: PartText) -> str:
    """The text of part.toml; what is proposed says so, so that a person looks at it.

    Parameters
    ----------
    text
        What it says.

    Returns
    -------
    str
        TOML.
    """
    lines = [f"# {line}" for line in text.origin]
    lines += [
        "# What follows was proposed from the outline's own widths: look at part-sheet.svg, change what is wrong.",
        "",
        "format = 1                          # of this file",
        f"part = {_quoted(text.part)}  # as shots and limits name it",
        f"name = {_quoted(text.name)}  # as people call it",
        f"nominal = {_quoted(text.nominal)}  # the outline beside this file, in mm, long axis along x",
        *_traced(text.traced_from),
        "# edge_height_mm = 0.0              # how far the edge that the light shows lies above the tray: measure it",
        "# edge_height_u_mm = 0.0            # how far it may lie from that at any one place (k = 1)",
    ]
    for zone, widest in zip(text.zones, text.widest_mm, strict=True):
        lines += [
            "",
            "[[zone]]  # a stretch of the outline along x",
            f"name = {_quoted(zone.name)}  # {widest:g} mm wide at most",
        ]
        lines.append(f"x_mm = [{zone.x_mm[0]!r}, {zone.x_mm[1]!r}]  # from and to, along the drawing's x")
        if zone.datum:
            lines.append(
                "datum = true  # pieces are laid on the drawing by this zone: the one that functions by its shape"
            )
        if zone.bend:
            lines.append("bend = true  # how far this zone is bent against the datum is measured")
    if text.surface is not None:
        lines += ["", "[surface]  # the polished face that is scored; without this table none is"]
        lines.append(
            f"x_mm = [{text.surface.x_mm[0]!r}, {text.surface.x_mm[1]!r}]  # short of the neck, where the face turns"
        )
        lines.append(f"inset_mm = {text.surface.inset_mm!r}  # clear of the rim, whose own round throws light")
    return "\n".join(lines) + "\n"


def _traced(photograph: str | None) -> list[str]:
    return (
        [] if photograph is None else [f"traced_from = {_quoted(photograph)}  # a photograph: nobody drew this outline"]
    )


def _quoted(text: str) -> str:
    import tomlkit

    return tomlkit.string(text).as_string()


def write_outline(path: Path, loops: Sequence[Array]) -> None:
    """Write closed loops as a DXF drawing in mm.

    Parameters
    ----------
    path
        The file.
    loops
        The outline and its holes, each (n, 2) mm, first vertex not repeated.

    Raises
    ------
    Unusable
        The file can't be written.
    """
    import io

    from ezdxf import units
    from ezdxf.filemanagement import new

    drawing = new("R2010", units=units.MM)
    space = drawing.modelspace()
    for loop in loops:
        space.add_lwpolyline(np.round(loop, _DECIMALS).tolist(), close=True)
    stream = io.StringIO()
    drawing.write(stream)
    write_atomic(path, stream.getvalue())
