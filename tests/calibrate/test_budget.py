"""Uncertainty budgets against the worked examples of the GUM (JCGM 100:2008, annex H)."""

import math
from dataclasses import astuple, fields

import numpy as np
import pytest
from hypothesis import given, strategies as st

from app.report.budget_table import budget_table
from vision.calibrate.budget import Contribution, combine, measure_budget, rectangular
from vision.records.measured import UncertaintyComponents

# H.1, end gauge, table H.1: |c| u in nm and degrees of freedom.
END_GAUGE = ((25.0, 18), (5.8, 24), (3.9, 5), (6.7, 8), (2.9, 50), (16.6, 2))

# H.2, simultaneous resistance and reactance, table H.2: V in volts, I in mA, phase in rad, five simultaneous sets.
VOLTS = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
MILLIAMPS = np.array([19.663, 19.639, 19.640, 19.685, 19.678])
PHASE = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def test_gum_h1_end_gauge() -> None:
    found = combine([Contribution(str(u), u, freedom=v) for u, v in END_GAUGE], coverage=0.99)
    assert found.combined == pytest.approx(31.7, abs=0.05)  # printed 32 nm
    assert found.freedom == pytest.approx(16.7, abs=0.1)  # printed 16.7; unrounded 16.64
    assert found.factor == pytest.approx(2.92, abs=0.005)  # t with 16, not 17, degrees of freedom
    assert found.expanded == pytest.approx(93.0, abs=0.6)  # printed 93 nm, from the rounded 32 nm


def test_gum_h1_with_the_second_order_term() -> None:
    found = combine([*(Contribution(str(u), u, freedom=v) for u, v in END_GAUGE), Contribution("second order", 11.7)])
    assert found.combined == pytest.approx(34.0, abs=0.5)  # H.1.7


@pytest.mark.parametrize(
    ("name", "value", "standard"), [("R", 127.732, 0.071), ("X", 219.847, 0.295), ("Z", 254.260, 0.236)]
)
def test_gum_h2_correlated_inputs(name: str, value: float, standard: float) -> None:
    v, i, phase = VOLTS.mean(), MILLIAMPS.mean() / 1000.0, PHASE.mean()
    z = v / i
    part = {"R": (math.cos(phase), -math.sin(phase)), "X": (math.sin(phase), math.cos(phase)), "Z": (1.0, 0.0)}[name]
    sensitivities = (part[0] / i, -z * part[0] / i, z * part[1])
    inputs = (VOLTS, MILLIAMPS / 1000.0, PHASE)
    contributions = [
        Contribution(n, float(np.std(x, ddof=1) / math.sqrt(5)), c)
        for n, x, c in zip("VIp", inputs, sensitivities, strict=True)
    ]
    correlation = np.corrcoef(inputs)
    assert correlation[np.triu_indices(3, 1)] == pytest.approx([-0.36, 0.86, -0.65], abs=0.005)
    assert z * part[0] == pytest.approx(value, abs=0.0005)
    assert combine(contributions, correlation).combined == pytest.approx(standard, abs=0.001)
    if name == "R":
        assert combine(contributions).combined == pytest.approx(0.195, abs=0.001)  # what leaving correlation out gives


@given(st.lists(st.floats(1e-3, 1e3), min_size=1, max_size=6), st.floats(1.0, 1e4))
def test_combined_is_the_root_sum_of_squares_and_its_freedom_is_bounded(shares: list[float], freedom: float) -> None:
    found = combine([Contribution("x", u, freedom=freedom) for u in shares])
    assert found.combined == pytest.approx(math.sqrt(math.fsum(u * u for u in shares)))
    assert freedom * 0.999 <= found.freedom <= len(shares) * freedom * 1.001


def test_beside_a_large_known_input_the_others_freedom_does_not_count() -> None:
    # The effective freedom is then more than any whole number of the machine; the factor is the normal one's.
    budget = combine((Contribution("fit", 1e-6, freedom=100), Contribution("thickness", 0.1)))
    assert budget.freedom > 2.0**63
    assert budget.factor == pytest.approx(1.959964, abs=1e-6)


def test_known_inputs_have_the_normal_factor() -> None:
    assert combine([Contribution("x", 1.0)]).expanded == pytest.approx(1.95996, abs=1e-5)
    assert rectangular(0.3) == pytest.approx(0.3 / math.sqrt(3.0))


def test_a_measures_budget_holds_what_station_frame_rim_and_laying_leave() -> None:
    components = UncertaintyComponents(
        station=0.003,
        scale=0.0135,
        pose=0.001,
        edge=0.002,
        form=0.0015,
        rim=0.004,
        flare=0.0003,
        coma=0.0002,
        height=0.0007,
    )
    every = UncertaintyComponents(**{part.name: 2.0**k for k, part in enumerate(fields(UncertaintyComponents))})
    assert every.combined == pytest.approx(math.hypot(*astuple(every)))
    alone = measure_budget(components)
    assert alone.combined == pytest.approx(components.combined)
    assert alone.expanded == pytest.approx(1.95996 * components.combined, rel=1e-5)
    found = measure_budget(
        components, (Contribution("repeatability", 0.004, freedom=9, source="10 placings of one piece"),)
    )
    assert found.combined == pytest.approx(math.hypot(components.combined, 0.004))
    # Only the repeatability is short of freedom: 9, blown up by its small share.
    assert found.freedom == pytest.approx(9 * (found.combined / 0.004) ** 4)
    table = budget_table(found, "mm")
    assert table.count("<tr>") == 1 + 11 + 2
    assert f'<td class="number">{found.expanded:.3f}</td>' in table
    assert "10 placings of one piece" in table
