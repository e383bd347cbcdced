"""What was not seen of a face: regions in words, cells drawn with the directions that would have been missed."""

import numpy as np
import pytest

from app.report.blind_map import blind_regions, draw_blind
from app.report.upright import Window
from vision.records.measured import SeenMap

# 4 x 3 cells of 2 mm. Two cells at the upper left are blind across, one at the lower right to pits alone.
SEEN = SeenMap(
    2.0,
    (10.0, 6.0),
    (0.0, 90.0),
    (("9999", "9999", ".999"), ("1199", "9999", ".999")),
    ("9999", "9999", ".992"),
    ("0099", "9999", ".990"),
)
WINDOW = Window((8.0, 20.0), (-2.0, 8.0), 10.0)


def test_regions_say_where_and_what_would_have_been_missed() -> None:
    large, small = blind_regions(SEEN)
    assert large.words == "Not seen, 8 mm²: scratches along 90° would have been missed"
    assert (large.ring_mm.min(axis=0).tolist(), large.ring_mm.max(axis=0).tolist()) == ([10.0, 4.0], [14.0, 6.0])
    assert small.words == "Not seen, 4 mm²: pits would have been missed"
    assert np.allclose(small.ring_mm.mean(axis=0), (17.0, 1.0), atol=0.5)


def test_cells_are_tinted_with_a_stroke_for_each_direction_missed() -> None:
    parts = draw_blind(SEEN, WINDOW)
    assert sum("fill-opacity" in part for part in parts) == 3
    assert sum("stroke" in part for part in parts) == 2


@pytest.mark.parametrize(
    "seen",
    [
        None,
        SeenMap(2.0, (0.0, 2.0), (0.0,), (("9",),), ("9",)),
        SeenMap(2.0, (0.0, 2.0), (0.0,), (("9",),), ("9",), ("9",)),
    ],
)
def test_all_seen_or_not_known_draws_nothing(seen: SeenMap | None) -> None:
    assert blind_regions(seen) == ()
    assert draw_blind(seen, WINDOW) == []
