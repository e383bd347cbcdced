"""Path data of a polyline."""

import math

from app.report.svg import path


def test_a_path_breaks_where_a_point_is_not_known_and_closes_once() -> None:
    nowhere = (math.nan, 1.0)
    assert path([(0.0, 1.04), (2.0, -3.06)]) == "M0.0 1.0L2.0 -3.1"
    assert path([nowhere, (0.0, 0.0), (1.0, 0.0), nowhere, nowhere, (5.0, 5.0)], closed=True) == (
        "M0.0 0.0L1.0 0.0M5.0 5.0Z"
    )
    assert path([], closed=True) == path([nowhere], closed=True) == ""
