"""Three dies over 400,000 strokes, in a store and followed: the command as a person calls it.

By default their trays are filed as measured; by hand (`-m long`) they are rendered and judged too.
"""

import json
from contextlib import closing
from datetime import timedelta
from itertools import product
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from app.cli.die import command
from app.cli.inspect import command as inspect
from app.store.results.filing import ToFile, file_result
from app.works.folder import Works
from synthetic_images.spoons import TEASPOON
from synthetic_images.trays.history import FIRST_SHOT, DieCourse, History, render_history
from tests.run.rendered_works import works_of
from vision.errors import Unusable
from vision.formats.limits import read_limits
from vision.formats.part import read_part
from vision.formats.profiles import Profile
from vision.formats.station import read_station
from vision.geometry import arc_lengths, points_at
from vision.records.judged import JudgedPiece, TrayResult
from vision.records.measured import EdgeFinding

STROKES, REGRIND = 400_000.0, 215_000.0
WORN, SLOW = 3e-7, 1.5e-7
NICK_MM, STRAYS = 200.0, 0.15  # where along the outline; share of pieces with a nick of handling
# D1 wears and is ground anew; D2 wears and nicks every piece at one place; D3 does neither.
DIES = (DieCourse("D1", WORN, regrind_at=REGRIND), DieCourse("D2", SLOW, nick_s_mm=NICK_MM), DieCourse("D3"))
TRAYS = 26  # of each die: 15,400 strokes apart, so that a change half way between two is within 2 % of the strokes


@pytest.fixture(scope="module", params=["filed", pytest.param("rendered", marks=pytest.mark.long)])
def works(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Works:
    """A works whose store holds the history."""
    folder = tmp_path_factory.mktemp("history")
    trays = TRAYS if request.param == "rendered" else 0
    list(render_history(folder, History(TEASPOON, DIES, trays, STROKES, pieces=1, mm_per_px=0.2)))
    made = works_of(folder, folder / "works")
    if request.param == "filed":
        _file(made)
    else:
        words = [str(folder / "shots"), "--works", str(made.folder), "--no-pictures"]
        assert CliRunner().invoke(inspect, words, catch_exceptions=False).exit_code == 0
    return made


def _file(works: Works) -> None:
    """File the trays as measured: growth give or take 1.2 um a tray (of three pieces) and 3 um a place."""
    part = read_part(works.part_file("TS-135"))
    station, limits = read_station(works.station_file("ST-1")), read_limits(works.limits_file("TS-135"), part)
    rng, around = np.random.default_rng(1), float(arc_lengths(part.outline)[-1])
    s_mm = np.arange(0.0, around, 0.5)
    with closing(works.open()) as store:
        for number, (index, die) in enumerate(product(range(TRAYS), range(len(DIES)))):
            course = DIES[die]
            strokes = round(STROKES * (index + 0.5 + 0.5 * die / len(DIES)) / TRAYS)
            places = [] if course.nick_s_mm is None else [course.nick_s_mm + float(rng.normal(0.0, 0.05))]
            places += [float(rng.uniform(0.0, around))] if rng.random() < STRAYS else []
            nicks = tuple(
                EdgeFinding("nick", "bowl", (600.0, 400.0), (float(x), float(y)), 0.3, -0.06, 0.6)
                for x, y in points_at(part.outline, np.array(places))
            )
            piece = JudgedPiece(1, "pass", (), None, None, {}, {}, nicks, (True,) * len(nicks))
            taken_at = (FIRST_SHOT + timedelta(hours=6 * number)).isoformat()
            about = ("brightbowl 0.1.0", f"T-{number:06d}", "L-2611-09", "TS-135", "ST-1", taken_at, limits.revision)
            result = TrayResult(*about, (piece,), (), {"die": course.die, "strokes": float(strokes)})
            grown = course.growth_mm(strokes) + rng.normal(0.0, 0.0012) + rng.normal(0.0, 0.003, len(s_mm))
            file_result(store, ToFile(result, (), part, station, limits, {1: Profile(s_mm, grown)}))


@pytest.fixture(scope="module")
def followed(works: Works) -> tuple[dict[str, Any], str, str]:
    """`die.json`, the page, and what was printed."""
    folder = works.folder / "dies"
    done = CliRunner().invoke(command, ["--works", str(works.folder), "--out", str(folder)], catch_exceptions=False)
    assert done.exit_code == 0
    return json.loads((folder / "die.json").read_text()), (folder / "die.html").read_text(), done.stdout


def of(followed: tuple[dict[str, Any], str, str], die: str) -> dict[str, Any]:
    return next(one for one in followed[0]["dies"] if one["die"] == die)


@pytest.mark.parametrize(("die", "rate"), [("D1", WORN), ("D2", SLOW)])
def test_a_rate_lies_within_its_interval(followed: tuple[dict[str, Any], str, str], die: str, rate: float) -> None:
    # One of 20 such intervals would miss; these two seeds don't.
    low, high = of(followed, die)["rate_mm_per_stroke"]["ci"]
    assert low <= rate <= high
    # D1 has twelve trays since its regrind: what is not known of how alike they are makes the interval wide.
    assert high - low < 0.7 * rate


def test_the_regrind_is_found_and_no_other(followed: tuple[dict[str, Any], str, str]) -> None:
    (at,) = of(followed, "D1")["changes_at_strokes"]
    assert abs(at - REGRIND) < 0.02 * STROKES
    assert of(followed, "D2")["changes_at_strokes"] == of(followed, "D3")["changes_at_strokes"] == []


def test_the_clean_die_shows_no_wear(followed: tuple[dict[str, Any], str, str]) -> None:
    clean = of(followed, "D3")
    assert clean["strokes_left"]["told"] == "no wear seen"
    assert clean["worn_share_of_outline"] == 0.0
    assert not any(clean["wear_map"]["worn"])


def test_every_place_has_its_rate_and_standard_error(followed: tuple[dict[str, Any], str, str]) -> None:
    # D2 grows evenly: all places together stand at its rate, most within three standard errors of it.
    found = of(followed, "D2")["wear_map"]
    rate, error = np.array(found["rate_mm"]), np.array(found["standard_error_mm"])
    assert len(rate) == len(error) == len(found["s_mm"])
    assert np.median(rate) == pytest.approx(SLOW * found["per_strokes"], rel=0.1)
    assert (np.abs(rate - SLOW * found["per_strokes"]) < 3 * error).mean() > 0.9


def test_one_die_is_reported_alone(works: Works) -> None:
    words = ["--works", str(works.folder), "--die", "D3", "--out", str(works.folder / "one")]
    done = CliRunner().invoke(command, words, catch_exceptions=False)
    assert done.exit_code == 0
    table = json.loads((works.folder / "one" / "die.json").read_text())
    assert [one["die"] for one in table["dies"]] == ["D3"]
    assert table["same_place"][0]["die"] == "D2"


def test_strokes_left_are_told_of_the_worn_die(followed: tuple[dict[str, Any], str, str]) -> None:
    left = of(followed, "D1")["strokes_left"]
    truth = 0.15 / WORN - (STROKES - REGRIND)
    # The last tray stands half a step before the end.
    assert left["ci"][0] - 8_000 < truth < left["ci"][1] + 8_000


def test_the_nick_that_comes_back_is_named_with_its_die(followed: tuple[dict[str, Any], str, str]) -> None:
    (place,) = followed[0]["same_place"]
    assert (place["kind"], place["die"]) == ("nick", "D2")
    assert len(place["pieces"]) >= 0.9 * TRAYS
    assert f"{TRAYS} of {TRAYS} pieces of die D2" in place["origin"]
    assert place["origin"].endswith("the die D2 itself")


def test_the_page_tells_all_of_it(followed: tuple[dict[str, Any], str, str]) -> None:
    _, page, said = followed
    assert page.count("<h2>Die ") == 3
    assert "No place of the outline is worn beyond chance." in page
    assert "the die D2 itself" in page
    assert "Presses, trimming and buffing machines" in page
    assert said.count("die D") >= 3


@pytest.mark.parametrize(
    ("words", "told"), [(("--part", "XX-1"), "XX-1"), (("--lot", "L-0"), "none yet"), (("--die", "D9"), "D1, D2, D3")]
)
def test_bad_calls_are_told_in_one_line(works: Works, words: tuple[str, ...], told: str) -> None:
    done = CliRunner().invoke(command, ["--works", str(works.folder), "--out", str(works.folder / "dies"), *words])
    assert isinstance(done.exception, Unusable)
    assert told in str(done.exception)
