"""What a curve of detection says, in words and on its chart."""

from dataclasses import dataclass

import numpy as np
import pytest

from app.report.pod_report import curve_words, pod_chart, pod_page
from app.studies.pod_study import study_pod


@dataclass(frozen=True)
class Mark:
    """A planted scratch."""

    size_mm: float
    found: bool
    kind: str = "scratch"
    contrast: float = 0.5


def marks(count: int, ceiling: float = 1.0) -> list[Mark]:
    """Scratches found by log odds of 9 + 6 ln(length), up to a ceiling."""
    rng = np.random.default_rng(5)
    size = np.exp(rng.uniform(np.log(0.08), np.log(0.8), count))
    found = rng.random(count) < ceiling / (1 + np.exp(-(9 + 6 * np.log(size))))
    return [Mark(float(one), bool(hit)) for one, hit in zip(size, found, strict=True)]


@pytest.mark.parametrize(
    ("pieces", "ceiling", "said", "drawn"),
    [
        (20, 1.0, "with 95 % confidence from 0.", True),
        (2, 1.0, "2 pieces don't tell how pieces differ", False),
        (20, 0.85, "levels off at 0.8", True),
    ],
)
def test_a_curve_says_from_where_or_why_from_nowhere(pieces: int, ceiling: float, said: str, drawn: bool) -> None:
    of_size = study_pod(marks(240, ceiling), [0], [k % pieces for k in range(240)]).curves[1]
    assert said in curve_words(of_size)
    # a lower bound is drawn where there is one
    assert ("95 % sure" in pod_chart(of_size)) == drawn


def test_a_page_of_scratches_alone_has_no_curve_of_pits() -> None:
    study = study_pod(marks(20), [0], [0] * 20)
    assert [(one.kind, one.against) for one in study.curves] == [("scratch", "contrast"), ("scratch", "size_mm")]
    page = pod_page(study, [], "Part TS-135")
    assert "Pits against" not in page
