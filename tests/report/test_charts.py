"""Charts: where their ticks stand."""

import re

import pytest

from app.report.charts import Axis, Frame, chart


@pytest.mark.parametrize(("points", "ticks"), [(3, ["1", "2", "3"]), (40, ["10", "20", "30", "40"])])
def test_things_counted_one_by_one_have_ticks_at_whole_numbers_only(points: int, ticks: list[str]) -> None:
    frame = Frame(Axis(0.5, points + 0.5, "trays", integer=True), Axis(0.0, 0.2, "share"))
    drawn = re.findall(r"<text[^>]*>([^<]*)</text>", chart(frame, [], "Trays"))
    assert [words for words in drawn if words.isdigit()] == ticks
