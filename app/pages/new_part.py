"""A part from its drawing: what the drawing shows, what only a person can say of it, and the part that is proposed."""

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import get_args

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app.pages.server_state import current_server
from app.pages.sign_in import head, nobody_yet
from app.pages.study_lot import show_chart
from app.report import draw_found, draw_part_sheet, write_part_folder
from app.works import Works, read_works, why_not
from vision.drafting import GAP_MM, Choices, PartDraft, Seen, Views, draft_part, look
from vision.errors import Unusable
from vision.formats import DRAWING_BYTES, UNITS, Sheet, read_sheet

KINDS = ("dxf", "svg", "csv")
NAME_MAX = 50  # 200 bytes of UTF-8 at most, as a folder is named so
# What each option of `brightbowl part` is called on this page, and what a person is to do.
ASKED = {
    "--unit": ("Unit", "Say the drawing's unit."),
    "--scale": ("Scale", "Say how many times as large as drawn the piece is."),
    "--view": ("View", "Choose the view that is the piece."),
    "--holes": ("Holes", "Say which loops inside the outline are punched through."),
    "--seen": ("Seen from", "Say from where the piece was drawn."),
    "--layer": ("Layers", "Choose the layers to look at."),
    "--layout": ("Layout", "Name the layout of the paper space."),
    "--gap-mm": ("Join gaps up to", "Close the outline, or say how wide a gap may be joined."),
}


def new_part_page() -> None:
    """Lead from a drawing to a part's folder in the works."""
    server = current_server()
    _, who = head(server)
    if server.works is None:
        st.info("This page serves a store alone; with a works folder (--works) it takes drawings in.")
        return
    if who is None:
        nobody_yet(server)
        return
    works = read_works(server.works.folder)
    against = why_not(works, who.name, who.roles, "add a part")
    if against is not None:
        st.info(f"Parts are taken in by whoever has the role tune: {against}.")
        return
    with TemporaryDirectory() as folder:
        drawing = _drawing(works, Path(folder))
        if drawing is None:
            st.info("Choose a drawing: DXF (R12 to 2018), SVG, or a table of points in millimetres (CSV).")
            return
        try:
            _of_drawing(works, drawing)
        except Unusable as fault:
            _ask(fault)


def _drawing(works: Works, folder: Path) -> Path | None:
    """The drawing to read: one that was sent, put into a folder that this run alone has, or one beside the parts."""
    there = _drawings(works)
    one, two = st.columns(2)
    sent = one.file_uploader("Send a drawing", list(KINDS), max_upload_size=DRAWING_BYTES // 1_000_000)
    chosen = None
    if there:
        words = "or take one that lies in the works' parts folder"
        chosen = two.selectbox(words, list(there), index=None, placeholder="choose a drawing")
    if sent is None:
        return there[chosen] if chosen is not None else None
    path = folder / plain_name(sent.name)
    path.write_bytes(sent.getvalue())
    return path


def plain_name(name: str) -> str:
    """A sent file's name as a plain one: it is whatever the sender says."""
    return re.sub(r"[^\w.-]+", "-", Path(name).name).lstrip(".-")[-NAME_MAX:] or "drawing"


def _drawings(works: Works) -> dict[str, Path]:
    """Drawings in the works' parts folder, or in a folder there that holds no part yet, by their places."""
    parts = works.folder / "parts"
    found = [path for depth in ("*", "*/*") for path in parts.glob(depth) if path.suffix.lower()[1:] in KINDS]
    new = [path for path in found if path.is_file() and not (path.parent / "part.toml").exists()]
    return {path.relative_to(parts).as_posix(): path for path in sorted(new)}


def _of_drawing(works: Works, drawing: Path) -> None:
    """Show the drawing, ask for what it leaves open, and propose the part."""
    key = f"{drawing.name}-{drawing.stat().st_size}"  # another drawing has fresh fields
    one, two, three = st.columns(3)
    unit = one.selectbox("Unit", list(UNITS), index=None, placeholder="as the drawing says", key=f"unit-{key}")
    scale = two.number_input(
        "Scale (how many times as large as drawn)", 1e-4, 1e4, None, format="%g", placeholder="1", key=f"scale-{key}"
    )
    gap_mm = three.number_input("Join gaps up to (mm)", 0.0, 1.0, GAP_MM, 0.01, key=f"gap-{key}")
    with st.expander("Paper space, and another turn than the long axis along x"):
        layout = st.text_input("Layout of the paper space, in place of the model space", key=f"layout-{key}")
        turn_deg = st.number_input(
            "Turn by (degrees, counter-clockwise)",
            -360.0,
            360.0,
            None,
            placeholder="by its long axis",
            key=f"turn-{key}",
        )
    sheet = read_sheet(drawing, unit, scale or 1.0, layout.strip() or None)
    layers = one.multiselect("Layers", list(sheet.layers), placeholder="all that are shown", key=f"layers-{key}")
    choices = Choices(unit, scale, layers=tuple(layers), turn_deg=turn_deg, gap_mm=gap_mm)
    views = look(sheet, choices)
    choices = _of_view(views, choices, key, (two, three))
    show_chart(draw_found(sheet, views), _words(drawing, views))
    draft = draft_part(sheet, views, choices)
    _proposed(works, sheet, draft, key)


def _of_view(views: Views, choices: Choices, key: str, columns: Sequence[DeltaGenerator]) -> Choices:
    """The view that is the piece, its holes, and from where it was drawn."""
    left, right = columns
    named = {view.number: view.words for view in views.views}
    only = "the only one" if len(named) == 1 else "choose the piece"
    view = left.selectbox(
        "View", list(named), index=None, format_func=named.__getitem__, placeholder=only, key=f"view-{key}"
    )
    seen = right.radio("Seen from", get_args(Seen), index=None, horizontal=True, key=f"seen-{key}")
    inner = next((one.inner for one in views.views if one.number == (view or 1)), ())
    holes: tuple[int, ...] | None = None
    if inner:
        word = right.radio("Holes", ("all", "none", "some"), index=None, horizontal=True, key=f"holes-{key}")
        every = tuple(range(1, len(inner) + 1))
        if word == "some":
            holes = tuple(right.multiselect("Punched through", every, key=f"some-{key}")) or None
        elif word is not None:
            holes = every if word == "all" else ()
    return replace(choices, view=view, seen=seen, holes=holes)


def _words(drawing: Path, views: Views) -> str:
    """What the picture shows, for whoever does not see it."""
    return f"What {drawing.name} shows: {'; '.join((*(one.words for one in views.views), *views.notes)) or 'nothing'}"


def _proposed(works: Works, sheet: Sheet, draft: PartDraft, key: str) -> None:
    """The part as it would be written, and the button that writes it."""
    st.subheader("The part that is proposed")
    one, two = st.columns(2)
    stem = sheet.path.stem
    part = one.text_input("What shots and limits call it", stem, max_chars=NAME_MAX, key=f"part-{key}").strip()
    name = two.text_input("What people call it", part, max_chars=NAME_MAX, key=f"name-{key}").strip() or part
    zones = ", ".join(f"{zone.name} {zone.x_mm[0]:g} to {zone.x_mm[1]:g} mm" for zone in draft.zoning.zones)
    show_chart(draw_part_sheet(draft, f"{name} ({part})", draft.notes), f"{part}, along x: {zones}")
    st.markdown("Look at zones and numbers; they can be changed in part.toml afterwards.")
    if st.button("Write the part into the works", type="primary", disabled=not part.isprintable() or not part):
        folder = works.part_file(part).parent
        write_part_folder(folder, sheet, draft, part, name)
        st.success(f"Written: parts/{folder.name}/part.toml, with outline.dxf and part-sheet.svg. Next: its limits.")


def _ask(fault: Unusable) -> None:
    """What is missing or wrong, by this page's own words for its fields, without a path of the server's."""
    label, ask = ASKED.get(fault.what, ("", ""))
    said = f"{fault.expected}{f' (found {fault.found})' if fault.found else ''}"
    for option, (field, _) in ASKED.items():
        said = said.replace(option, f"‘{field}’")
    if label:
        st.warning(f"**{label}**: {ask}")
        st.text(fault.found if fault.what in ("--view", "--holes") else said)
    else:
        st.error("This can't be taken as it is.")
        st.text(f"{Path(fault.where).name}: {said}")
