"""The front-lit frames of one face, each taken for what it shows: the light that it is named for, the piece where the
backlit frame has it.

What does not fit is left out and told; a frame that only slid by a few px is put back. The dome is tied to the backlit
frame by the outline, the low lights to the dome and to each other by the finish, since under a low light the rim's own
reflections hide where the outline lies; where the finish says nothing, by the outline all the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.face.agreeing import Agreement, agreements
from vision.face.blur import edge_blur_px
from vision.face.contrast import FrameContrast, contrast_of, frame_contrasts
from vision.face.frame_check import FrameFault, crown_fault, lamp_off_deg, level_fault, light_fault, repeat_fault
from vision.face.placing import Rim, Shown, rim_blur_px, rim_of, shown_at
from vision.face.raster import FaceInputs, Region, reduce
from vision.records import Pair, Picture

# From this shift on a frame is told as moved (px); with no more of either, shift or what a turn leaves at the rim, it
# is put back by whole px.
_MOVED_PX, _PUT_BACK_PX, _TURNED_PX = 0.75, 4.0, 0.75
# Under a low light from this one on: bumps of the finish show each lamp from its own side (rendered frames: 1.5).
_LOW_MOVED_PX = 1.8
# Under a low light the outline may seem displaced by so much: bright trays and rims run over (rendered frames: 4.9).
_LOW_RIM_PX = 6.0
# What the finish says of a shift is taken where the outline says the same within so much (px): a finish of lines alone,
# or one whose bumps each lamp shows from its own side, may lead astray. It counts from so many uncertainties on.
_RIM_OFF_PX, _SURELY = 2.5, 4.0


@dataclass(frozen=True, slots=True, eq=False)
class TakenFrames:
    """The frames to be scored, each over the region, with the sigma of its optics (image px), and what is wrong with
    any.
    """

    contrasts: tuple[FrameContrast, ...]
    blurs_px: tuple[float, ...]
    faults: tuple[FrameFault, ...]

    @property
    def complete(self) -> bool:
        """Whether none had to be left out."""
        return not any(fault.misleads for fault in self.faults)


def take_frames(inputs: FaceInputs, region: Region) -> TakenFrames:
    """Every front-lit frame of a face that is what it is called."""
    frames = frame_contrasts(region, inputs.pictures)
    faults = _of_another_light(inputs, region, frames)
    if any(fault.kind == "face_down" for fault in faults):
        return TakenFrames((), (), tuple(faults))
    frames = tuple(frame for frame in frames if not any(fault.picture is frame.picture for fault in faults))
    told = agreements(region, frames) or (None,) * len(frames)
    rim, common = rim_of(inputs), (0.0, 0.0)
    kept: list[FrameContrast] = []
    blurs: list[float | None] = []
    for frame, agreement in zip(frames, told, strict=True):
        if frame.picture.light == "dome":
            place = shown_at(rim, frame.picture)
            common = _common(place, agreement)
        else:
            place = _low_place(frame.picture, rim, agreement, common)
        fault = _displaced(frame.picture, place)
        if fault is not None:
            faults.append(fault)
        if place is None or (fault is not None and fault.misleads):
            continue
        kept.append(frame if fault is None else contrast_of(region, _put_back(frame.picture, place.shift_px)))
        blurs.append(rim_blur_px(rim, frame.picture, place.shift_px))
    usual = max([edge_blur_px(inputs), *(blur for blur in blurs if blur is not None)])
    return TakenFrames(tuple(kept), tuple(usual if blur is None else blur for blur in blurs), tuple(faults))


def _of_another_light(inputs: FaceInputs, region: Region, frames: Sequence[FrameContrast]) -> list[FrameFault]:
    """Frames whose brightness over the face does not fit their name, or that show one light twice."""
    broad = reduce(region.scored.astype(np.float32), region.broad.shape) > 0.5
    back = reduce(region.fine.cut(inputs.pictures.back.pixels).astype(np.float32), region.broad.shape)[broad]
    back *= np.float32(255.0 / inputs.pictures.back.full_scale)
    seen = [(inputs.pictures.back, back)]
    faults: list[FrameFault] = []
    thin, turn = broad[::2, ::2], inputs.tray_turn_deg
    lows = [frame for frame in frames if frame.picture.light == "low"]
    crown = crown_fault(
        [(one.picture, lamp_off_deg(one.picture, one.brightness[::2, ::2], thin, turn)) for one in lows]
    )
    if crown is not None:
        return [crown]
    for frame in frames:
        level = frame.brightness[broad]
        fault = light_fault(frame.picture, frame.brightness[::2, ::2], thin, turn)
        fault = fault or repeat_fault(frame.picture, level, seen) or level_fault(frame.picture, level, inputs.lights)
        seen.append((frame.picture, level))
        if fault is not None:
            faults.append(fault)
    return faults


def _common(dome: Shown | None, agreement: Agreement | None) -> Pair:
    """By how much all front-lit frames moved alike: the dome did against the backlit one, and agrees with the rest."""
    if dome is None or agreement is None or not agreement.sure or dome.worst_px <= _MOVED_PX:
        return (0.0, 0.0)
    if np.hypot(*np.subtract(agreement.shift_px, dome.shift_px)) < np.hypot(*agreement.shift_px):
        return (0.0, 0.0)
    return dome.shift_px


def _low_place(picture: Picture, rim: Rim, agreement: Agreement | None, common: Pair) -> Shown | None:
    """Where a low light's frame shows the piece: by the finish, where that is sure and the outline does not deny it."""
    by_finish = _by_finish(agreement, common)
    if by_finish is not None and by_finish.worst_px == 0.0:
        return by_finish
    by_rim = shown_at(rim, picture)
    if by_rim is None:
        return by_finish
    if by_finish is not None and np.hypot(*np.subtract(by_finish.shift_px, by_rim.shift_px)) <= _RIM_OFF_PX:
        return replace(by_finish, turn_deg=by_rim.turn_deg if by_rim.worst_px > _LOW_RIM_PX else 0.0)
    return by_rim if by_rim.worst_px > _LOW_RIM_PX else replace(by_rim, shift_px=(0.0, 0.0), turn_deg=0.0, worst_px=0.0)


def _by_finish(agreement: Agreement | None, common: Pair) -> Shown | None:
    if agreement is None or not agreement.sure:
        return None
    right, down = (
        d if abs(d) > max(_LOW_MOVED_PX, _SURELY * u) else 0.0
        for d, u in zip(agreement.shift_px, agreement.u_px, strict=True)
    )
    shift = (right + common[0], down + common[1])
    return Shown(shift, 0.0, float(np.hypot(*shift)), 0.0, 1.0)


def _displaced(picture: Picture, place: Shown | None) -> FrameFault | None:
    """What is told of a frame's place; left out where whole px can't put it right."""
    if place is None:
        return FrameFault("wrong_light", picture, "does not show this piece where back.png shows it")
    if place.worst_px <= _MOVED_PX:
        return None
    right, down = place.shift_px
    detail = f"shifted by {right:+.1f} px to the right and {down:+.1f} px down, turned by {place.turn_deg:+.2f} degrees"
    turned_px = place.worst_px - float(np.hypot(right, down))
    far = max(abs(right), abs(down)) > _PUT_BACK_PX or turned_px > _TURNED_PX
    what = "not judged" if far else "put back"
    return FrameFault("moved", picture, f"{detail} against the backlit frame: {what}", far)


def _put_back(picture: Picture, shift_px: Pair) -> Picture:
    """A frame moved back by whole px; black comes in at its edge."""
    rows, columns = picture.pixels.shape
    back = np.array([[1.0, 0.0, -round(shift_px[0])], [0.0, 1.0, -round(shift_px[1])]])
    pixels = cv2.warpAffine(picture.pixels, back, (columns, rows), flags=cv2.INTER_NEAREST)
    if picture.pixels.dtype == np.uint8:
        return replace(picture, pixels=pixels.astype(np.uint8))
    return replace(picture, pixels=pixels.astype(np.uint16))
