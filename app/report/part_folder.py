"""A part's draft put into its folder: the outline that it uses, part.toml, and the sheet with zones and numbers."""

import hashlib
from pathlib import Path

from app.report.drawing_sheets import draw_part_sheet
from vision.drafting import PartDraft
from vision.errors import Unusable
from vision.formats import PartText, Sheet, part_as_toml, read_part, write_atomic, write_outline
from vision.records import Part

_OUTLINE, _SHEET = "outline.dxf", "part-sheet.svg"


def write_part_folder(folder: Path, sheet: Sheet, draft: PartDraft, part: str, name: str) -> Part:
    """Write a part's folder; what it then holds, read as every tray will read it.

    Parameters
    ----------
    folder
        New or the part's own.
    sheet
        The drawing's lines, mm.
    draft
        What a person confirmed of it.
    part
        The part's short name.
    name
        What people call it.

    Returns
    -------
    Part
        The part as its folder says.

    Raises
    ------
    Unusable
        It holds a part already, or can't be written.
    """
    path = folder / "part.toml"
    if path.exists():
        raise Unusable(path, "", "a part that is new expected, so that nothing is overwritten; move the old one away")
    origin = [f"From {sheet.path.name}{_digest(sheet.path)}.", *draft.notes]
    zoning = draft.zoning
    text = PartText(
        part, name, _OUTLINE, zoning.zones, zoning.widest_mm, zoning.surface, tuple(origin), sheet.traced_from
    )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise Unusable(folder, "", "a folder that can be made expected", fault.strerror or "") from None
    write_outline(folder / _OUTLINE, (draft.laid.outline, *draft.laid.holes))
    write_atomic(folder / _SHEET, draw_part_sheet(draft, f"{name} ({part})", origin))
    write_atomic(path, part_as_toml(text))
    return read_part(path)


def _digest(path: Path) -> str:
    """The first figures of a drawing's SHA-256, so that it can be told from its next revision."""
    return f" (SHA-256 {hashlib.sha256(path.read_bytes()).hexdigest()[:16]})" if path.is_file() else ""
