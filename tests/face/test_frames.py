"""Front-lit frames that are not what they are called; marks and stains; what could have been seen."""

import re
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.face.scenes import Mark, part, pictures, to_px, view
from vision.face.departures import departures
from vision.face.frame_check import missing_lights
from vision.face.frames import take_frames
from vision.face.raster import find_region
from vision.face.score import score_face
from vision.formats import shipped_judge
from vision.records.inputs import Array, Lights, Picture, Reference, Station, TrayPictures

MARKS = tuple(Mark((x, y), (x + 0.8, y + 0.3), 0.1, 0.5) for x in (-6.0, -2.0, 2.0, 6.0) for y in (-3.0, 0.0, 3.0))
GOOD = pictures(np.random.default_rng(5), MARKS)
INPUTS = view(GOOD)
SURFACE = part().surface
assert SURFACE is not None
REGION = find_region(INPUTS, SURFACE)
assert REGION is not None


def moved(picture: Picture, right: float, down: float, turn_deg: float = 0.0) -> Picture:
    """A frame slid and turned about its middle."""
    rows, columns = picture.pixels.shape
    motion = cv2.getRotationMatrix2D((columns / 2, rows / 2), turn_deg, 1.0)
    motion[:, 2] += (right, down)
    return replace(picture, pixels=cv2.warpAffine(picture.pixels, motion, (columns, rows)).astype(np.uint8))


def with_dome(dome: Picture) -> TrayPictures:
    return replace(GOOD, dome=dome)


def with_low(number: int, frame: Picture) -> TrayPictures:
    return replace(GOOD, low=(*GOOD.low[:number], frame, *GOOD.low[number + 1 :]))


def told(frames: TrayPictures) -> list[tuple[str, str]]:
    return [(fault.kind, fault.picture.name) for fault in take_frames(view(frames), REGION).faults]


def test_good_frames_are_taken_as_they_are() -> None:
    assert told(GOOD) == []
    assert len(take_frames(INPUTS, REGION).contrasts) == 5


@pytest.mark.parametrize("shift", [(1.0, 0.0), (-2.0, 1.0), (9.0, -5.0), (25.0, 0.0)])
def test_a_dome_that_slid_is_told_in_px_and_put_back_where_it_can_be(shift: tuple[float, float]) -> None:
    dome = GOOD.dome
    assert dome is not None
    taken = take_frames(view(with_dome(moved(dome, *shift))), REGION)
    (fault,) = taken.faults
    assert fault.kind == "moved"
    said = [float(number) for number in re.findall(r"([+-][0-9.]+) px", fault.detail)]
    assert said == pytest.approx(shift, abs=0.3)
    assert fault.misleads == (max(np.abs(shift)) > 4)
    assert len(taken.contrasts) == (4 if fault.misleads else 5)


def test_a_frame_turned_by_a_degree_is_not_judged() -> None:
    dome = GOOD.dome
    assert dome is not None
    (fault,) = take_frames(view(with_dome(moved(dome, 0.0, 0.0, 1.0))), REGION).faults
    assert (fault.kind, fault.misleads) == ("moved", True)


def test_lamps_changed_over_repeated_dead_and_doubled_are_told() -> None:
    low = GOOD.low
    pixels = [one.pixels for one in low]
    assert told(with_low(1, replace(low[1], pixels=pixels[3]))) == [
        ("wrong_light", low[1].name),
        ("wrong_light", low[3].name),
    ]
    assert told(with_low(0, replace(low[0], pixels=np.zeros_like(pixels[0])))) == [("wrong_light", low[0].name)]
    assert told(with_low(2, replace(low[2], pixels=np.maximum(pixels[0], pixels[2])))) == [("wrong_light", low[2].name)]


@pytest.mark.parametrize("level", [0, 128, 255])
def test_a_flat_frame_shows_no_piece(level: int) -> None:
    dome = GOOD.dome
    assert dome is not None
    flat = replace(dome, pixels=np.full_like(dome.pixels, level))
    assert told(with_dome(flat)) == [("wrong_light", dome.name)]


def test_the_backlit_frame_is_no_dome() -> None:
    dome = GOOD.dome
    assert dome is not None
    assert told(with_dome(replace(dome, pixels=GOOD.back.pixels))) == [("wrong_light", dome.name)]


def test_a_face_far_from_its_usual_brightness_is_told() -> None:
    inputs = replace(INPUTS, lights=Lights(dome_level=(0.5, 0.7)))
    (fault,) = take_frames(inputs, REGION).faults
    assert fault.kind == "wrong_light"
    assert "82%" in fault.detail


def test_lights_that_a_station_names_must_be_there() -> None:
    lights = Lights(dome=True, low_deg=(0.0, 90.0, 180.0, 270.0))
    station = Station("ST-1", np.diag([0.05, -0.05, 1.0]), None, None, 0.01, 0.0002, lights=lights)
    assert missing_lights(GOOD, station) == []
    (one,) = missing_lights(replace(GOOD, low=GOOD.low[1:]), station)
    assert (one.kind, "at 0 degrees" in one.detail) == ("missing_light", True)


def painted(center_mm: tuple[float, float], radius_mm: float, to_level: float) -> TrayPictures:
    """Every front-lit frame with a disc of so many times the metal's level."""

    def over(picture: Picture) -> Picture:
        cover = disc(center_mm, radius_mm)
        level = picture.pixels * (1.0 + (to_level - 1.0) * cover)
        return replace(picture, pixels=np.clip(np.rint(level), 0, 255).astype(np.uint8))

    dome = GOOD.dome
    assert dome is not None
    return replace(GOOD, dome=over(dome), low=tuple(over(one) for one in GOOD.low))


def disc(center_mm: tuple[float, float], radius_mm: float) -> Array:
    rows, columns = GOOD.back.pixels.shape
    x, y = np.meshgrid(np.arange(columns), np.arange(rows))
    u, v = to_px(np.array([center_mm]))[0]
    sharp = np.clip(radius_mm / 0.05 - np.hypot(x - u, y - v) + 0.5, 0.0, 1.0)
    return np.asarray(cv2.GaussianBlur(sharp, (0, 0), 0.75))


@pytest.mark.parametrize("diameter_mm", [1.5, 4.0, 10.0])
@pytest.mark.parametrize(("level", "kind"), [(0.1, "mark"), (0.6, "mark"), (0.85, "stain")])
def test_dark_discs_are_marks_or_stains_of_their_area(diameter_mm: float, level: float, kind: str) -> None:
    inputs = view(painted((1.0, 1.5), diameter_mm / 2, level))
    found = departures(inputs, REGION, take_frames(inputs, REGION).contrasts)
    assert [one.kind for one in found] == [kind]
    assert found[0].area_mm2 == pytest.approx(np.pi / 4 * diameter_mm**2, rel=0.25)
    assert found[0].center_mm == pytest.approx((1.0, 1.5), abs=0.5)


def test_an_unmarked_face_has_neither() -> None:
    assert departures(INPUTS, REGION, take_frames(INPUTS, REGION).contrasts) == ()


# Low lights of a hazy finish: none leaves any of the face in the dark.
HAZY = tuple(replace(low, pixels=np.minimum(low.pixels, 243) + np.uint8(12)) for low in GOOD.low)
# Where the face looks straight up.
UP_MM = (0.0, 0.0)


def dimmed(picture: Picture, center_mm: tuple[float, float], radius_mm: float, share: float, soft_px: float) -> Picture:
    """Darkened within a disc to a share."""
    cover = cv2.GaussianBlur(disc(center_mm, radius_mm), (0, 0), soft_px)
    return replace(picture, pixels=np.rint(picture.pixels * (1.0 - (1.0 - share) * cover)).astype(np.uint8))


def with_opening(radius_mm: float) -> Picture:
    """The dome with the soft dark image of its opening."""
    assert GOOD.dome is not None
    return dimmed(GOOD.dome, UP_MM, radius_mm, 0.6, 20.0)


def kinds(dome: Picture, low: tuple[Picture, ...]) -> list[str]:
    inputs = view(replace(GOOD, dome=dome, low=low))
    return [one.kind for one in departures(inputs, REGION, take_frames(inputs, REGION).contrasts)]


def test_a_bump_that_mirrors_the_dome_s_opening_once_more_is_no_mark() -> None:
    bump = (3.5, 1.0)

    def turned_up(picture: Picture) -> Picture:
        right, down = np.rint(to_px(np.array([bump])) - to_px(np.array([UP_MM])))[0].astype(int)
        there = np.roll(picture.pixels, (down, right), axis=(0, 1)).astype(float)
        cover = cv2.GaussianBlur(disc(bump, 1.0), (0, 0), 4.0)
        return replace(picture, pixels=np.rint(picture.pixels + cover * (there - picture.pixels)).astype(np.uint8))

    dome = with_opening(4.0)
    assert kinds(dome, HAZY) == []
    assert kinds(turned_up(dome), tuple(turned_up(low) for low in HAZY)) == []
    # The same patch where low lights show the face to look elsewhere is on the metal.
    assert kinds(turned_up(dome), HAZY) != []


@pytest.mark.parametrize("center_mm", [(-4.5, 2.0), (2.0, -4.5), (5.0, 2.5)])
@pytest.mark.parametrize("in_all_lights", [False, True])
def test_what_dims_the_dome_by_half_is_a_mark_however_soft_its_border(
    center_mm: tuple[float, float], in_all_lights: bool
) -> None:
    assert kinds(with_opening(2.5), HAZY) == []
    film = (center_mm, 3.0, 0.5, 16.0)
    lows = tuple(dimmed(low, *film) for low in HAZY) if in_all_lights else HAZY
    assert "mark" in kinds(dimmed(with_opening(2.5), *film), lows)


def test_a_low_lamp_that_burns_in_the_dome_s_frame_is_told() -> None:
    dome = with_opening(2.5)
    both = replace(dome, pixels=np.rint(0.7 * dome.pixels + 0.3 * GOOD.low[0].pixels).astype(np.uint8))
    assert "mark" in kinds(both, HAZY)


def test_smoothed_metal_is_told_by_its_missing_noise() -> None:
    def smoothed(picture: Picture) -> Picture:
        cover = disc((0.0, 1.5), 1.5)
        level = picture.pixels * (1.0 - cover) + cv2.GaussianBlur(picture.pixels.astype(float), (0, 0), 10.0) * cover
        return replace(picture, pixels=np.rint(level).astype(np.uint8))

    dome = GOOD.dome
    assert dome is not None
    inputs = view(with_dome(smoothed(dome)))
    (one,) = departures(inputs, REGION, take_frames(inputs, REGION).contrasts)
    assert one.kind == "mark"
    assert one.center_mm == pytest.approx((0.0, 1.5), abs=0.3)


def share(frames: TrayPictures) -> float:
    """What could have been seen of marks a third as strong as the usual: the finish of the scene is a quiet one."""
    seen = score_face(view(frames), shipped_judge(), Reference(scratch_contrast=1.0, pit_contrast=1.0)).seen
    assert seen is not None
    return seen.share


def test_what_could_have_been_seen_falls_with_fewer_lamps_and_with_noise() -> None:
    rng = np.random.default_rng(9)

    def noisy(picture: Picture) -> Picture:
        level = picture.pixels + rng.normal(0.0, 10.0, picture.pixels.shape)
        return replace(picture, pixels=np.clip(np.rint(level), 0, 255).astype(np.uint8))

    dome = GOOD.dome
    assert dome is not None
    assert share(GOOD) > 0.9
    assert share(replace(GOOD, dome=noisy(dome), low=tuple(noisy(one) for one in GOOD.low))) < 0.5
    assert share(replace(GOOD, low=())) < 0.5
    assert (
        score_face(
            view(with_low(0, replace(GOOD.low[0], pixels=np.zeros_like(GOOD.low[0].pixels)))), shipped_judge()
        ).seen
        is None
    )


def test_the_map_says_where() -> None:
    seen = score_face(INPUTS, shipped_judge()).seen
    assert seen is not None
    maps = (*seen.map.scratch, seen.map.pit, seen.map.seen)
    assert len({tuple(len(row) for row in one) for one in maps}) == 1
    assert seen.map.is_seen((0.0, 0.0))
    assert not seen.map.is_seen((200.0, 0.0))
    assert seen.map.pit[0][0] == seen.map.seen[0][0] == "."
    digits = [int(one) for row in seen.map.seen for one in row if one != "."]
    assert np.mean(digits) / 9.0 == pytest.approx(seen.share, abs=0.07)
