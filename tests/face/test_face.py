"""The whole face on simple scenes: what is found, what is not, and what is said when something is missing."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from shapely.geometry import Polygon

from tests.face.scenes import CENTER_PX, INSET_MM, Mark, coverage, part, pictures, to_mm, to_px, view
from vision.face.raster import FaceInputs
from vision.face.score import FaceScore, score_face
from vision.formats import shipped_judge
from vision.records.inputs import Picture, TrayPictures
from vision.records.measured import Pit, Scratch

SCRATCH = Mark((-4.0, -2.0), (3.0, 1.5), 0.12, 0.2)
PIT = Mark((2.0, -4.0), None, 0.3, 0.4)


def scored(inputs: FaceInputs) -> FaceScore:
    """A face as the judge that comes with the program tells it: what is likelier a mark than none, and dust."""
    score = score_face(inputs, shipped_judge())
    return replace(score, findings=tuple(f for f in score.findings if not isinstance(f, Scratch | Pit) or f.likely))


def test_scratch_is_found_where_it_lies_with_its_length_and_width():
    score = scored(view(pictures(np.random.default_rng(1), (SCRATCH,))))
    (scratch,) = score.findings
    assert isinstance(scratch, Scratch)
    ends = np.array(scratch.points_mm)[[0, -1]]
    ends = ends[np.argsort(ends[:, 0])]
    np.testing.assert_allclose(ends, [SCRATCH.a, SCRATCH.b], atol=0.3)
    assert scratch.length_mm == pytest.approx(np.hypot(7.0, 3.5), abs=0.3)
    assert scratch.width_mm == pytest.approx(0.12, abs=0.03)
    steps = np.hypot(*np.diff(np.array(scratch.points_mm), axis=0).T)
    assert steps.max() <= 1.0
    np.testing.assert_allclose(to_mm(np.array(scratch.points_px)), scratch.points_mm, atol=1e-6)


def turned_over(marked: Picture, clean: Picture, by: float) -> Picture:
    """What is brighter than clean becomes darker, and the reverse; `by` scales it."""
    pixels = (1 + by) * clean.pixels.astype(float) - by * marked.pixels
    return replace(marked, pixels=np.clip(pixels, 0, 255).round().astype(np.uint8))


@pytest.mark.parametrize(
    ("strength", "dome_by"),
    # what the dome shows faintly needs a search of its own; beside the dome's edges and the camera's hole a mark may be
    # brighter than what the metal mirrors there, and is found where it is plain
    [(0.033, None), (0.5, 0.9)],
)
def test_scratch_that_low_lights_show_dark_is_found_however_the_dome_shows_it(strength, dome_by):
    scratch = replace(SCRATCH, strength=strength)
    marked, clean = (pictures(np.random.default_rng(1), marks) for marks in ((scratch,), ()))
    low = tuple(turned_over(frame, bare, 0.15) for frame, bare in zip(marked.low, clean.low, strict=True))
    dome = marked.dome if dome_by is None else turned_over(marked.dome, clean.dome, dome_by)
    score = scored(view(replace(marked, low=low, dome=dome)))
    assert [f.kind for f in score.findings] == ["scratch"]


def test_scratch_that_shines_only_in_the_dark_of_a_light_is_found():
    groove = Mark((5.0, -2.0), (6.0, 2.0), 0.12, 12.0)
    clean = pictures(np.random.default_rng(1))
    # far from its own reflection this light leaves the metal at a count or so, and the groove alone sends light back
    lit, far = clean.low[0], np.arange(clean.low[0].pixels.shape[1]) > to_px(np.array([[2.0, 0.0]]))[0, 0]
    dark = np.where(far, np.minimum(lit.pixels, 1) + coverage((groove,)), lit.pixels)
    low = (replace(lit, pixels=dark.round().astype(np.uint8)), *clean.low[1:])
    score = scored(view(replace(clean, low=low)))
    # the cut through the light has a sharp border, as no lamp's image has: that is told too
    assert [f.kind for f in score.findings if f.kind != "mark"] == ["scratch"]


def test_scratch_along_the_wheel_that_shines_in_one_light_is_found():
    rng = np.random.default_rng(15)
    groove = Mark((-2.0, 0.5), (0.5, 0.6), 0.17, 0.6)
    marked, clean = (pictures(np.random.default_rng(1), marks) for marks in ((groove,), ()))
    low = tuple(brushed(frame, 0.1, rng) for frame in (clean.low[0], marked.low[1], *clean.low[2:]))
    score = scored(view(replace(clean, dome=brushed(clean.dome, 0.01, rng), low=low)))
    assert "scratch" in {f.kind for f in score.findings}


@pytest.mark.parametrize("at_mm", [(-0.1, 0.95), (0.6, 0.58), (0.3, 0.6)])
def test_short_scratch_near_a_strong_grain_is_no_echo_of_it(at_mm):
    near = (Mark((-1.0, 0.5), (0.8, 0.5), 0.1, 0.05), Mark(at_mm, None, 0.08, 6.0))
    score = scored(view(pictures(np.random.default_rng(1), near)))
    assert {f.kind for f in score.findings} == {"scratch", "speck"}


@pytest.mark.parametrize("strength", [0.03, 0.04])
def test_a_short_line_is_a_scratch_and_no_pit(strength):
    short = Mark((-1.0, 0.5), (-0.3, 0.64), 0.08, strength)
    score = scored(view(pictures(np.random.default_rng(1), (short,))))
    assert [f.kind for f in score.findings] == ["scratch"]


def test_pit_is_found_where_it_lies_with_its_diameter():
    score = scored(view(pictures(np.random.default_rng(2), (PIT,))))
    (pit,) = score.findings
    assert isinstance(pit, Pit)
    np.testing.assert_allclose(pit.center_mm, PIT.a, atol=0.1)
    assert pit.diameter_mm == pytest.approx(0.3, abs=0.05)


@pytest.mark.parametrize(("gap_mm", "strength"), [(1.2, 0.3), (1.5, 1.0)])
def test_a_pit_off_the_end_of_a_scratch_is_found_beside_it(gap_mm, strength):
    pit = Mark((1.0, -2.0), None, 0.38, 0.2)
    scratch = Mark((1.0, -2.0 + gap_mm), (1.0, 5.0), 0.15, strength)
    found = {f.kind: f for f in scored(view(pictures(np.random.default_rng(1), (pit, scratch)))).findings}
    assert set(found) == {"scratch", "pit"}
    assert found["pit"].diameter_mm == pytest.approx(0.38, abs=0.05)


def test_dust_is_a_speck():
    grain = Mark((2.0, -4.0), None, 0.07, 0.5)
    score = scored(view(pictures(np.random.default_rng(3), (grain,))))
    assert [f.kind for f in score.findings] == ["speck"]


def test_a_large_pit_that_every_light_blows_is_no_lamps_reflection():
    pit = replace(PIT, a=(0.5, -0.5), width_mm=0.65, strength=3.0)
    (found,) = scored(view(pictures(np.random.default_rng(2), (pit,), dome=False))).findings
    assert found.kind == "pit"
    assert found.diameter_mm == pytest.approx(0.65, abs=0.1)


def brushed(frame: Picture, share: float, rng: np.random.Generator) -> Picture:
    """A frame with lines of the wheel along +X: each row brighter or darker by a random share."""
    rows = 1 + share * rng.normal(size=(frame.pixels.shape[0], 1))
    return replace(frame, pixels=np.clip(np.round(frame.pixels * rows), 0, 255).astype(np.uint8))


@pytest.mark.parametrize(("strength", "seen"), [(1.0, ["scratch"]), (0.0, [])])
def test_along_the_wheel_the_dome_alone_shows_what_stands_out_from_the_lines_beside_it(strength, seen):
    rng = np.random.default_rng(15)
    scratch = Mark((-2.0, 0.5), (0.5, 0.5), 0.1, strength)
    marked, clean = (pictures(np.random.default_rng(1), marks) for marks in ((scratch,), ()))
    frames = replace(
        clean, dome=brushed(marked.dome, 0.004, rng), low=tuple(brushed(frame, 0.1, rng) for frame in clean.low)
    )
    assert [f.kind for f in scored(view(frames)).findings] == seen


def test_crossing_scratches_are_two():
    other = Mark((-3.0, 3.0), (2.0, -5.0), 0.12, 0.2)
    score = scored(view(pictures(np.random.default_rng(4), (SCRATCH, other))))
    lengths = sorted(f.length_mm for f in score.findings if isinstance(f, Scratch))
    assert lengths == pytest.approx(sorted([np.hypot(7.0, 3.5), np.hypot(5.0, 8.0)]), abs=0.5)


def test_the_rim_of_a_dried_drop_is_no_scratch():
    # as faint and wide as such rims are; a narrow ring as strong as a plain scratch is told as arcs of one
    turns = np.linspace(0, 2 * np.pi, 25)
    corners = [(1.0 + 2.2 * np.cos(t), 0.5 + 2.2 * np.sin(t)) for t in turns]
    rim = tuple(Mark(a, b, 0.3, 0.01) for a, b in pairwise(corners))
    score = scored(view(pictures(np.random.default_rng(5), rim)))
    assert not [f for f in score.findings if isinstance(f, Scratch)]


def test_a_faint_wide_and_bent_line_is_the_edge_of_a_reflection():
    corners = [(3.0 * x, -2.0 + 1.8 * (1 - x * x)) for x in np.linspace(-1, 1, 13)]
    edge = tuple(Mark(a, b, 0.4, 0.01) for a, b in pairwise(corners))
    assert scored(view(pictures(np.random.default_rng(5), edge))).findings == ()


def test_clean_faces_show_nothing():
    # chance of failing: the detection limits let through fewer than 0.01 findings on a face of pure noise
    for seed in range(3):
        assert scored(view(pictures(np.random.default_rng(100 + seed)))).findings == ()


@pytest.mark.parametrize("turn_deg", [37.0, 180.0, -101.0])
def test_a_turned_piece_reads_the_same_on_the_drawing(turn_deg):
    frames = pictures(np.random.default_rng(6), (SCRATCH, PIT), turn_deg)
    found = {f.kind: f for f in scored(view(frames, turn_deg)).findings}
    assert set(found) == {"scratch", "pit"}
    assert found["scratch"].length_mm == pytest.approx(np.hypot(7.0, 3.5), abs=0.35)
    np.testing.assert_allclose(found["pit"].center_mm, PIT.a, atol=0.1)
    assert found["pit"].diameter_mm == pytest.approx(0.3, abs=0.06)


@pytest.mark.parametrize(
    ("azimuths", "dome"),
    [((), True), ((0.0, 90.0, 180.0, 270.0), False), ((30.0, 150.0, 270.0), True), ((90.0,), False)],
)
def test_any_set_of_lights_will_do(azimuths, dome):
    strong = (replace(SCRATCH, strength=0.4), replace(PIT, a=(2.0, -1.5), strength=0.4))
    score = scored(view(pictures(np.random.default_rng(7), strong, azimuths=azimuths, dome=dome)))
    assert {f.kind for f in score.findings} == {"scratch", "pit"}
    assert score.faults == ()
    assert (score.buffing_line_level is None) == (not azimuths)


def test_sixteen_bit_frames_read_like_eight_bit_ones():
    frames = pictures(np.random.default_rng(8), (SCRATCH, PIT))

    def wide(picture: Picture) -> Picture:
        return replace(picture, pixels=picture.pixels.astype(np.uint16) * 16, full_scale=4080.0)

    deep = TrayPictures(frames.back, wide(frames.dome), tuple(wide(p) for p in frames.low))
    plain, other = scored(view(frames)), scored(view(deep))
    assert [(f.kind, round(f.snr, 2)) for f in plain.findings] == [(f.kind, round(f.snr, 2)) for f in other.findings]


def test_scored_area_is_the_drawings_where_all_is_seen():
    score = scored(view(pictures(np.random.default_rng(9))))
    area = Polygon(part().outline).buffer(-INSET_MM).area / 100
    assert score.scored_area_cm2 == pytest.approx(area, rel=0.002)
    assert 0 < score.scored_area_uncertainty_cm2 < 0.01


def test_what_is_blown_in_every_frame_is_not_scored():
    frames = pictures(np.random.default_rng(10))

    def half_blown(picture: Picture) -> Picture:
        pixels = picture.pixels.copy()
        pixels[:, : int(CENTER_PX[0])] = 255
        return replace(picture, pixels=pixels)

    blown = TrayPictures(frames.back, half_blown(frames.dome), tuple(half_blown(p) for p in frames.low))
    full, half = scored(view(frames)), scored(view(blown))
    assert half.scored_area_cm2 == pytest.approx(full.scored_area_cm2 / 2, rel=0.06)


def test_without_front_lit_frames_measures_are_missing():
    frames = pictures(np.random.default_rng(11), azimuths=(), dome=False)
    score = scored(view(frames))
    assert score.findings == ()
    assert score.scored_area_cm2 is None
    assert score.buffing_line_level is None


def test_without_a_scored_area_measures_are_missing():
    seen = view(pictures(np.random.default_rng(12)))
    score = scored(replace(seen, part=replace(seen.part, surface=None)))
    assert score.findings == ()
    assert score.scored_area_cm2 is None


def test_a_face_outside_the_frame_is_missing_not_an_error():
    seen = view(pictures(np.random.default_rng(13)))
    away = replace(seen, to_px=lambda mm: seen.to_px(mm) + 5000.0)
    assert scored(away).scored_area_cm2 is None


def test_a_misleading_frame_is_told_and_left_out():
    frames = pictures(np.random.default_rng(14), (SCRATCH,))
    dark = replace(frames.low[1], pixels=np.zeros_like(frames.low[1].pixels))
    score = scored(view(TrayPictures(frames.back, frames.dome, (frames.low[0], dark, *frames.low[2:]))))
    assert [f.picture.name for f in score.faults] == ["low-090.png"]
    assert [f.kind for f in score.findings] == ["scratch"]
