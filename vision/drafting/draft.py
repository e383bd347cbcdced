"""From a sheet and a person's choices to a part's draft; what only a person can say is asked for by its option."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from vision.drafting.believing import size_doubt
from vision.drafting.laying import SYMMETRIC_MM, Laid, lay
from vision.drafting.views import View, Views, find_views
from vision.drafting.zoning import Zoning, propose_zones
from vision.errors import Unusable
from vision.formats import Sheet, arranged, on_layers
from vision.records import Array

# Ends of curves are joined across this: what a plotter's pen covered, and a twentieth of a usual tolerance.
GAP_MM = 0.02
Seen = Literal["above", "below"]


@dataclass(frozen=True, slots=True)
class Choices:
    """What a person chose of a drawing; None or empty: not yet, and asked for where it is needed.

    `unit`, `scale`, `layout` as `read_sheet`; `layers` to look at; `view` by its number; `holes`: numbers of the loops
    inside it that are punched through; `seen`: from where it was drawn; `turn_deg`: in place of the long axis.
    """

    unit: str | None = None
    scale: float | None = None
    layout: str | None = None
    layers: tuple[str, ...] = ()
    view: int | None = None
    holes: tuple[int, ...] | None = None
    seen: Seen | None = None
    turn_deg: float | None = None
    gap_mm: float = GAP_MM


@dataclass(frozen=True, slots=True, eq=False)
class PartDraft:
    """A part as proposed from its drawing: how the outline lies, its zones, and a line for each thing that was done."""

    view: View
    laid: Laid
    zoning: Zoning
    notes: tuple[str, ...]


def look(sheet: Sheet, choices: Choices) -> Views:
    """What a drawing shows on the chosen layers.

    Parameters
    ----------
    sheet
        The drawing as read.
    choices
        Its layers and the gap to join are looked at.

    Returns
    -------
    Views
        What may be the piece.

    Raises
    ------
    Unusable
        A layer holds nothing.
    """
    dashed = [one for one in on_layers(sheet, choices.layers) if one.line]
    views = find_views([one.points for one in on_layers(sheet, choices.layers) if not one.line], choices.gap_mm)
    lines = sorted({one.line for one in dashed})
    notes = (
        [f"left out, drawn as {', '.join(lines)} and so not continuous: curves, {len(dashed)} in all"] if dashed else []
    )
    return replace(views, notes=(*notes, *views.notes))


def draft_part(sheet: Sheet, views: Views, choices: Choices) -> PartDraft:
    """Make a part's draft.

    Parameters
    ----------
    sheet
        The drawing as read.
    views
        What it shows.
    choices
        What a person chose.

    Returns
    -------
    PartDraft
        Outline, zones, and what was done.

    Raises
    ------
    Unusable
        The drawing can't be right, or a person must choose first: the key names the option.
    """
    view = _chosen(sheet, views, choices)
    doubt = size_doubt(sheet, view.length_mm, choices.unit is not None, choices.scale is not None)
    if doubt:
        key = "--unit" if "--unit" in doubt else "--scale"
        raise Unusable(sheet.path, key, doubt)
    outline, holes = arranged((view.ring, *_holes(sheet, view, choices)), sheet.path)
    laid = lay(outline, holes, choices.seen == "below", choices.turn_deg)
    if laid.asymmetric_mm > SYMMETRIC_MM and choices.seen is None:
        expected = (
            f"--seen above or below expected: the outline is {laid.asymmetric_mm:.2g} mm off its mirror image, and a "
            f"part is drawn as seen from above with its bowl towards the camera"
        )
        raise Unusable(sheet.path, "--seen", expected)
    return PartDraft(view, laid, propose_zones(laid.outline), (*sheet.notes, *views.notes, *_done(sheet, view, laid)))


def _chosen(sheet: Sheet, views: Views, choices: Choices) -> View:
    if choices.view is not None:
        found = next((one for one in views.views if one.number == choices.view), None)
        if found is None:
            raise Unusable(sheet.path, "--view", f"a view of 1 to {len(views.views)} expected", str(choices.view))
        return found
    if not views.views:
        raise Unusable(sheet.path, "", f"a closed outline expected; {_why_none(sheet, views)}", "none")
    if views.doubt and len(views.views) > 1:
        raise Unusable(sheet.path, "--view", "one view expected: say which by --view", views.doubt)
    if views.doubt:
        expected = "no doubt which contour is the piece expected: close it or say --gap-mm, or take --view 1"
        raise Unusable(sheet.path, "--view", expected, views.doubt)
    return views.views[0]


def _why_none(sheet: Sheet, views: Views) -> str:
    """What to do where nothing is closed: the smallest gap that would close something."""
    nearly = sorted(views.contours.opens, key=lambda one: one.gap_mm)
    if nearly:
        one = nearly[0]
        x, y = one.points[0]
        return f"one from ({x:.4g}, {y:.4g}) lacks {one.gap_mm:.3g} mm to be: close it, or say --gap-mm"
    notes = "; ".join((*sheet.notes, *views.notes))
    return f"show its layer, explode what is no curve, or say --layer{'; ' + notes if notes else ''}"


def _holes(sheet: Sheet, view: View, choices: Choices) -> Sequence[Array]:
    if choices.holes is None:
        if not view.inner:
            return ()
        listed = "; ".join(f"{number}: {_loop_words(loop)}" for number, loop in enumerate(view.inner, 1))
        expected = "--holes all, none or numbers expected: which of the loops inside the outline are punched through"
        raise Unusable(sheet.path, "--holes", expected, listed)
    for number in choices.holes:
        if not 1 <= number <= len(view.inner):
            raise Unusable(sheet.path, "--holes", f"numbers of 1 to {len(view.inner)} expected", str(number))
    return [view.inner[number - 1] for number in choices.holes]


def _loop_words(loop: Array) -> str:
    x, y = 0.5 * (loop.min(axis=0) + loop.max(axis=0))
    across, high = np.ptp(loop, axis=0)
    return f"{across:.4g} x {high:.4g} mm round ({x:.4g}, {y:.4g})"


def _done(sheet: Sheet, view: View, laid: Laid) -> list[str]:
    """What was done to the drawing, a line each."""
    unit = sheet.unit
    notes = []
    if unit is not None and (unit.key != "mm" or sheet.scale != 1.0):
        scale = f", drawn to a scale: times {sheet.scale:g}" if sheet.scale != 1.0 else ""
        notes.append(f"converted from {unit.name} (1 is {unit.mm:g} mm){scale}")
    if unit is not None and sheet.said is not None and sheet.said != unit:
        notes.append(f"the drawing says {sheet.said.name}; read as {unit.name}, as chosen")
    notes += [f"a gap of {one.mm:.4f} mm joined at ({one.at_mm[0]:.3f}, {one.at_mm[1]:.3f})" for one in view.gaps]
    if laid.mirrored:
        notes.append("mirrored, since it was drawn as seen from below")
    if laid.turn_deg:
        notes.append(
            f"turned by {laid.turn_deg:.4g} degrees, so that the long axis lies along x, wider end at the left"
        )
    if max(map(abs, laid.moved_mm)) >= 0.00005:  # what the line shows
        notes.append(f"moved by ({laid.moved_mm[0]:.4f}, {laid.moved_mm[1]:.4f}) mm, so that it begins at x = 0")
    return notes
