"""The straight line, against NIST's certified values and the handbook's worked example of linearity."""

from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from app.statistics.line import straight_line
from tests.statistics.published import HANDBOOK_LINEARITY

NORRIS = Path(scipy.stats.__file__).parent / "tests/data/nist_linregress/Norris.dat"


def test_nists_certified_line() -> None:
    """NIST StRD, linear regression, Norris (lower difficulty, 36 observations): values from its file."""
    lines = NORRIS.read_text().splitlines()
    y, x = np.array([[float(cell) for cell in line.split()] for line in lines[60:96]]).T
    found = straight_line(x, y, np.ones(36))
    of_intercept, of_slope = np.sqrt(np.diag(found.covariance)) * np.sqrt(found.squares / found.freedom)
    assert found.intercept == pytest.approx(-0.262323073774029, rel=1e-11)
    assert found.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert of_intercept == pytest.approx(0.232818234301152, rel=1e-11)
    assert of_slope == pytest.approx(0.429796848199937e-03, rel=1e-11)
    assert found.squares == pytest.approx(26.6173985294224, rel=1e-11)


def test_the_handbooks_linearity() -> None:
    """AIAG, Measurement Systems Analysis: five pieces, twelve readings each; published line and s, data from memory.

    Data and published figures were both remembered and agree to the printed digits.
    """
    reference, value = HANDBOOK_LINEARITY
    found = straight_line(reference, value - reference, np.ones(60))
    assert found.intercept == pytest.approx(0.736667, abs=5e-7)
    assert found.slope == pytest.approx(-0.131667, abs=5e-7)
    assert np.sqrt(found.squares / found.freedom) == pytest.approx(0.23954, abs=5e-6)


def test_a_line_needs_two_places() -> None:
    with pytest.raises(ValueError, match="two places"):
        straight_line(np.ones(3), np.arange(3.0), np.ones(3))
