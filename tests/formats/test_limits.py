"""limits.toml: what may be limited, and what is refused."""

from pathlib import Path

import pytest
from hypothesis import given, settings, strategies as st

from app.store.database.definitions import digest, limits_content
from tests.formats.made import LIMITS, one_line, write_part
from vision.decide.measures import MEASURES
from vision.errors import Unusable
from vision.formats.limits import read_limits, write_limits
from vision.formats.part import read_part
from vision.records.inputs import CountRule, Limit, Limits, Part
from vision.records.marks import MarkClass, MarkRate


@pytest.fixture(scope="module")
def part(tmp_path_factory: pytest.TempPathFactory) -> Part:
    return read_part(write_part(tmp_path_factory.mktemp("part")))


def written(folder: Path, text: str) -> Path:
    path = folder / "limits.toml"
    path.write_text(text)
    return path


def test_limits_say_what_they_are(tmp_path: Path, part: Part) -> None:
    limits = read_limits(written(tmp_path, LIMITS), part)
    assert limits == Limits(
        part="TS-135",
        revision=3,
        status="released",
        coverage=0.95,
        limits=(
            Limit("outline_out_mm", "major", "bowl", None, 0.15),
            Limit("length_mm", "minor", None, 134.8, 135.2),
        ),
        count=CountRule(0.5, 6.0, 0.15, 6.0),
    )


def test_without_counting_rules_everything_reported_counts(tmp_path: Path, part: Part) -> None:
    text = LIMITS[: LIMITS.index("[count]")] + LIMITS[LIMITS.index("[[limit]]") :]
    assert read_limits(written(tmp_path, text), part).count == CountRule(0.0, 0.0, 0.0, 0.0)


def test_a_rate_of_marks_names_its_source(tmp_path: Path, part: Part) -> None:
    rows = '[rate]\nsource = "400 faces"\nmark = [{kind = "pit", size_mm = 0.2, snr = 9.0, per_cm2 = 0.01}]\n'
    limits = read_limits(written(tmp_path, LIMITS.replace("[[limit]]", f"{rows}[[limit]]", 1)), part)
    assert limits.rate == MarkRate("400 faces", (MarkClass("pit", 0.2, 9.0, 0.01),))
    write_limits(limits, tmp_path / "again.toml")
    assert read_limits(tmp_path / "again.toml", part) == limits
    without = rows.replace('source = "400 faces"\n', "")
    with pytest.raises(Unusable, match=r"rate\.source"):
        read_limits(written(tmp_path, LIMITS.replace("[[limit]]", f"{without}[[limit]]", 1)), part)


def test_limits_may_be_none_yet(tmp_path: Path, part: Part) -> None:
    assert read_limits(written(tmp_path, LIMITS[: LIMITS.index("[[limit]]")]), part).limits == ()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("format = 1", "format = 0", ["format 1 expected", "found 0"]),
        ('part = "TS-135"', 'part = "DS-182"', ["part", "'TS-135'", "'DS-182'"]),
        ("revision = 3", "revision = 0", ["revision", "greater than or equal to 1"]),
        ("revision = 3", "revision = 3.5", ["revision", "a whole number"]),
        ('"released"', '"final"', ["status", "'draft' or 'released'", "'final'"]),
        ("coverage = 0.95", "coverage = 0.4", ["guard.coverage", "0.5"]),
        ("coverage = 0.95", "coverage = 1.0", ["guard.coverage", "less than 1"]),
        ("coverage = 0.95", "coverage = nan", ["guard.coverage", "finite"]),
        ("coverage = 0.95", "", ["guard.coverage", "missing"]),
        ("pit_min_snr = 6.0", "pit_min_snr = -1.0", ["count.pit_min_snr", "greater than or equal to 0"]),
        ("pit_min_snr = 6.0", "pit_min_size = 6.0", ["count.pit_min_size", "unknown key"]),
        ('"outline_out_mm"', '"outline_mm"', ["limit[1].measure", "outline_out_mm", "'outline_mm'"]),
        ('zone = "bowl"', 'zone = "tip"', ["limit[1].zone", "bowl, handle", "'tip'"]),
        ("min = 134.8", 'min = 134.8\nzone = "bowl"', ["limit[2].zone", "no zone", "length_mm"]),
        ("max = 0.15", "", ["limit[1]", "max, min or both", "outline_out_mm"]),
        ("max = 0.15", "max = nan", ["limit[1].max", "finite"]),
        ("max = 0.15", "max = inf", ["limit[1].max", "finite"]),
        ("max = 0.15", 'max = "0.15"', ["limit[1].max", "a number"]),
        ("min = 134.8", "min = 135.3", ["limit[2]", "min of length_mm at most its max", "135.3 above 135.2"]),
        ('class = "minor"', 'class = "small"', ["limit[2].class", "'critical', 'major' or 'minor'", "'small'"]),
        ('class = "minor"', "", ["limit[2].class", "missing"]),
        (
            'class = "minor"',
            'class = "minor"\n[[limit]]\nmeasure = "length_mm"\nmin = 1\nclass = "major"',
            ["limit[3].measure", "one limit", "length_mm again, first in limit[2]"],
        ),
    ],
)
def test_a_wrong_key_is_named(tmp_path: Path, part: Part, old: str, new: str, said: list[str]) -> None:
    assert old in LIMITS
    with pytest.raises(Unusable) as caught:
        read_limits(written(tmp_path, LIMITS.replace(old, new)), part)
    one_line(caught.value, "limits.toml", *said)


numbers = st.floats(-1e6, 1e6)


@st.composite
def limits_of_the_part(draw: st.DrawFn) -> Limits:
    """Any limits that may be given for the part of these tests."""
    keys = [
        (name, zone) for name in MEASURES for zone in ((None, "bowl", "handle") if MEASURES[name].per_zone else (None,))
    ]
    chosen = draw(st.lists(st.sampled_from(keys), unique=True, max_size=6))
    rows = []
    for measure, zone in chosen:
        low, high = sorted((draw(numbers), draw(numbers)))
        given_low, given_high = draw(st.sampled_from([(True, True), (True, False), (False, True)]))
        severity = draw(st.sampled_from(["critical", "major", "minor"]))
        rows.append(Limit(measure, severity, zone, low if given_low else None, high if given_high else None))  # type: ignore[arg-type]
    rule = CountRule(*(draw(st.floats(0.0, 50.0)) for _ in range(4)))
    revision, coverage = draw(st.integers(1, 10_000)), draw(st.floats(0.5, 0.9999))
    return Limits("TS-135", revision, draw(st.sampled_from(["draft", "released"])), coverage, tuple(rows), rule)  # type: ignore[arg-type]


@settings(deadline=None)
@given(limits=limits_of_the_part())
def test_what_is_written_reads_back_equal(tmp_path_factory: pytest.TempPathFactory, part: Part, limits: Limits) -> None:
    path = tmp_path_factory.getbasetemp() / "limits-again.toml"
    write_limits(limits, path)
    assert read_limits(path, part) == limits


def test_what_pictures_leave_out_is_kept_and_judges_nothing(tmp_path: Path) -> None:
    part = read_part(write_part(tmp_path))
    file = tmp_path / "limits.toml"
    file.write_text(LIMITS)
    plain = read_limits(file, part)
    file.write_text(LIMITS + "\n[pictures]\ndrawn_from_mm = 0.05\n")
    limits = read_limits(file, part)
    assert (plain.drawn_from_mm, limits.drawn_from_mm) == (None, 0.05)
    write_limits(limits, tmp_path / "again.toml")
    assert read_limits(tmp_path / "again.toml", part) == limits
    assert digest(limits_content(limits)) == digest(limits_content(plain))
