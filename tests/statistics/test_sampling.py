"""Sampling plans, what they let through, and the switching rules, against published tables."""

import numpy as np
import pytest

from app.statistics.sampling import (
    AQLS,
    FULL_SIZES,
    LETTERS,
    Plan,
    Severity,
    acceptance,
    code_letter,
    quality_at,
    single_plan,
)
from app.statistics.switching import Course, after_lot, begin, why_not_begin
from tests.statistics.published import printed
from vision.errors import Unusable

# one lot size for each code letter at level II (ISO 2859-1 table 1, as MIL-STD-105E table I)
LOTS = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10000, 35000, 150000, 500000, 600000)
LOT_OF = dict(zip("ABCDEFGHJKLMNPQ", LOTS, strict=True))


@pytest.mark.parametrize(("letter", "lot"), list(LOT_OF.items()))
def test_code_letters_of_level_ii(letter: str, lot: int) -> None:
    assert code_letter(lot) == letter


@pytest.mark.parametrize(
    ("lot", "level", "letter"),
    [
        (2, "I", "A"),
        (100, "I", "D"),
        (100, "III", "G"),
        (1000, "S-1", "C"),
        (600, "S-4", "F"),
        (10**6, "III", "R"),
        (281, "S-3", "D"),
    ],
)
def test_other_levels(lot: int, level: str, letter: str) -> None:
    assert code_letter(lot, level) == letter  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("letter", "first_aql", "numbers"),
    [
        # ISO 2859-1 table 2-A, rows as MIL-STD-105E's
        ("H", 1.0, [1, 2, 3, 5, 7, 10]),
        ("J", 0.65, [1, 2, 3, 5, 7, 10, 14]),
        ("K", 0.40, [1, 2, 3, 5, 7, 10, 14, 21]),
        ("L", 0.65, [3, 5, 7, 10, 14, 21]),
        ("M", 0.65, [5, 7, 10, 14, 21]),
        ("G", 1.5, [1, 2, 3, 5, 7]),
        ("F", 2.5, [1, 2, 3, 5]),
        ("F", 0.65, [0]),
    ],
)
def test_rows_of_normal_inspection(letter: str, first_aql: float, numbers: list[int]) -> None:
    _check_row("normal", letter, first_aql, numbers)


@pytest.mark.parametrize(
    ("letter", "first_aql", "numbers"),
    [
        # ISO 2859-1 table 2-B
        ("H", 1.5, [1, 2, 3, 5, 8]),
        ("J", 1.0, [1, 2, 3, 5, 8, 12]),
        ("K", 0.65, [1, 2, 3, 5, 8, 12, 18]),
        ("L", 0.65, [2, 3, 5, 8, 12, 18]),
        ("G", 0.65, [0]),
    ],
)
def test_rows_of_tightened_inspection(letter: str, first_aql: float, numbers: list[int]) -> None:
    _check_row("tightened", letter, first_aql, numbers)


def _check_row(severity: Severity, letter: str, first_aql: float, numbers: list[int]) -> None:
    first = AQLS.index(first_aql)
    size = FULL_SIZES[LETTERS.index(letter)]
    for aql, number in zip(AQLS[first:], numbers, strict=False):
        plan = single_plan(LOT_OF[letter], aql, severity)
        assert (plan.letter, plan.size, plan.accept, plan.reject) == (letter, size, number, number + 1)


@pytest.mark.parametrize(("aql", "letter"), list(zip(AQLS[5:15], "KJHGFEDCBA", strict=True)))
def test_plans_that_allow_none_lie_on_the_diagonal(aql: float, letter: str) -> None:
    plan = single_plan(LOT_OF[letter], aql)
    assert (plan.letter, plan.accept) == (letter, 0)


@pytest.mark.parametrize(
    ("severity", "letter", "aql", "leads_to"),
    [
        # arrows change the sample's size as well as the numbers (a government guide's tables made from MIL-STD-105E)
        ("normal", "G", 0.65, ("F", 20, 0)),
        ("normal", "H", 0.65, ("J", 80, 1)),
        ("normal", "A", 0.65, ("F", 20, 0)),
        ("normal", "N", 4.0, ("M", 315, 21)),
        ("normal", "A", 10.0, ("C", 5, 1)),
        ("tightened", "H", 0.65, ("K", 125, 1)),
        ("tightened", "J", 0.65, ("K", 125, 1)),
        ("tightened", "A", 0.65, ("G", 32, 0)),
        ("tightened", "L", 10.0, ("K", 125, 18)),
    ],
)
def test_arrows_lead_to_another_sample(
    severity: Severity, letter: str, aql: float, leads_to: tuple[str, int, int]
) -> None:
    plan = single_plan(LOT_OF[letter], aql, severity)
    expected_size = min(leads_to[1], LOT_OF[letter])
    assert (plan.letter, plan.size, plan.accept) == (leads_to[0], expected_size, leads_to[2])


def test_reduced_inspection_takes_smaller_samples() -> None:
    # L and M at 0.65: 80 with 2/3 and 125 with 3/4 (the national edition of ISO 2859-1:1999, as quoted)
    for letter, size, accept in (("L", 80, 2), ("M", 125, 3)):
        plan = single_plan(LOT_OF[letter], 0.65, "reduced")
        assert (plan.letter, plan.size, plan.accept, plan.reject) == (letter, size, accept, accept + 1)


def test_every_cell_leads_to_a_plan() -> None:
    for severity in ("normal", "tightened", "reduced"):
        for lot in (*LOT_OF.values(), 10**7):
            for aql in AQLS:
                for level in ("I", "II", "III"):
                    plan = single_plan(lot, aql, severity, level)  # type: ignore[arg-type]
                    assert 0 <= plan.accept < plan.size or plan.accept == 0
                    assert plan.size <= lot


@pytest.mark.parametrize(("lot", "aql", "said"), [(1, 1.0, "at least 2"), (100, 1.1, "one of 0.01")])
def test_what_the_standard_lacks_is_refused(lot: int, aql: float, said: str) -> None:
    with pytest.raises(Unusable, match=said):
        single_plan(lot, aql)


@pytest.mark.parametrize(
    ("size", "accept", "percents"),
    [
        # percent bad at acceptance 99 95 90 50 10 5 %; those of 80, 2 as MIL-STD-105E table X-J (from memory)
        (80, 2, ("0.5505", "1.0298", "1.3854", "3.3285", "6.516", "7.6611")),
        (125, 3, ("0.6644", "1.1003", "1.4029", "2.9298", "5.2663", "6.0859")),
        (200, 5, ("0.8999", "1.3144", "1.5833", "2.8303", "4.5879", "5.1843")),
        (50, 1, ("0.2997", "0.7154", "1.0687", "3.334", "7.5581", "9.1398")),
        (32, 1, ("0.4706", "1.1219", "1.6744", "5.1896", "11.6195", "13.9849")),
        (20, 0, ("0.0502", "0.2561", "0.5254", "3.4064", "10.8749", "13.9108")),
    ],
)
def test_operating_characteristics(size: int, accept: int, percents: tuple[str, ...]) -> None:
    plan = Plan("", size, accept, None)
    for probability, text in zip((0.99, 0.95, 0.90, 0.50, 0.10, 0.05), percents, strict=True):
        assert 100 * quality_at(plan, probability) == printed(text)


def test_plan_of_the_nist_handbook() -> None:
    # NIST/SEMATECH e-Handbook 6.2.3, n 52, c 3 (from memory; .845 and .739 are printed there, .8454 rounds so)
    plan = Plan("", 52, 3, None)
    shares = np.arange(1, 13) / 100
    published = [0.998, 0.980, 0.930, 0.845, 0.739, 0.620, 0.502, 0.394, 0.300, 0.223, 0.162, 0.115]
    assert acceptance(plan, shares) == pytest.approx(published, abs=1.1e-3)


def test_finite_lot_is_hypergeometric() -> None:
    plan = Plan("", 50, 1, None)
    assert float(acceptance(plan, 10 / 500, 500)) == printed("0.736503")
    assert float(acceptance(plan, 10 / 500)) == printed("0.735771")


PLAN = Plan("J", 80, 2, 1)
SMALL = Plan("F", 20, 0, None)


def _run(course: Course, plan: Plan, bads: list[int]) -> Course:
    for bad in bads:
        course = after_lot(course, plan, bad)
    return course


def test_two_rejected_in_five_lead_to_tightened() -> None:
    assert _run(Course(), PLAN, [0, 3, 0, 0]).severity == "normal"
    assert _run(Course(), PLAN, [0, 3, 0, 0, 0, 3]).severity == "tightened"
    assert _run(Course(), PLAN, [3, 0, 0, 0, 0, 3]).severity == "normal"


def test_five_accepted_lead_back_to_normal() -> None:
    tightened = Course("tightened")
    assert _run(tightened, PLAN, [0, 0, 0, 0]).severity == "tightened"
    assert _run(tightened, PLAN, [0, 0, 3, 0, 0, 0, 0]).severity == "tightened"
    assert _run(tightened, PLAN, [0, 0, 3, 0, 0, 0, 0, 0]) == Course("normal")


def test_five_rejected_on_tightened_stop_it_until_it_is_mended() -> None:
    stopped = _run(Course("tightened"), PLAN, [3, 0, 3, 0, 3, 3, 3])
    assert stopped.stopped
    assert after_lot(stopped, PLAN, 0) == stopped
    assert begin(stopped, "tightened") == Course("tightened")
    assert begin(stopped, "reduced") is begin(stopped, "normal") is None
    assert begin(Course(), "tightened") is None


def test_score_of_30_allows_reduced_inspection() -> None:
    assert _run(Course(), PLAN, [1] * 9).score == 27
    assert not _run(Course(), PLAN, [1] * 9).may_reduce
    assert _run(Course(), PLAN, [1] * 10).may_reduce
    assert _run(Course(), PLAN, [1] * 9 + [2]).score == 0
    assert _run(Course(), SMALL, [0] * 15).may_reduce
    assert begin(_run(Course(), SMALL, [0] * 15), "reduced") == Course("reduced")
    assert begin(Course(), "reduced") is None
    assert begin(Course("reduced", (True,)), "normal") == Course("normal")


@pytest.mark.parametrize(
    ("course", "severity", "said"),
    [
        (Course(score=28), "reduced", "score is 28, and reduced inspection needs 30"),
        (Course(), "normal", "normal already"),
        (Course(), "tightened", "begins by itself"),
        (Course("tightened"), "normal", "ends by itself, when 5 lots in a row"),
        (Course("tightened"), "reduced", "ends by itself"),
        (Course("tightened", stopped=True), "normal", "begins again as tightened"),
    ],
)
def test_why_an_inspection_can_not_be_begun(course: Course, severity: Severity, said: str) -> None:
    assert said in (why_not_begin(course, severity) or "")


def test_first_lot_not_accepted_ends_reduced_inspection() -> None:
    assert _run(Course("reduced"), PLAN, [0] * 20).severity == "reduced"
    after = _run(Course("reduced"), PLAN, [0, 3])
    assert after.severity == "normal"
    assert after_lot(after, PLAN, 3).severity == "tightened"
