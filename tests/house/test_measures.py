"""A measure is declared once and computed in one place; whatever lists measures takes them from the declaration."""

import ast
import re
from pathlib import Path

import pytest

from app.report.words import number_words
from tests.formats.made import LIMITS, write_part
from vision.decide.measures import MEASURES, Measure
from vision.formats.limits import read_limits
from vision.formats.part import read_part
from vision.formats.pieces_csv import write_pieces

ROOT = Path(__file__).parents[2]
DECLARED = "vision/decide/measures.py"
# What is about one measure in particular, beside its declaration and where it is computed.
OF_THEIR_OWN = {
    "vision/decide/possible.py": "the two extents that a drawing tells",
    "vision/decide/causes.py": "what a finding alone makes of a measure, and where to look for a missing one",
    "vision/decide/first_draft.py": "what a general tolerance says of a width and an angle",
    "app/pages/piece_words.py": "the measure that a kind of finding drives",
    "app/pages/upright_frames.py": "how long a piece is whose drawing is not known",
    "app/report/deviation_plot.py": "the two limits that are drawn along the outline",
    "app/studies/die_study.py": "the two limits that a die wears towards",
    "app/report/words.py": "what was not seen, said beside a largest deviation",
    "vision/outline/scale.py": "the two extents by which a wrong scale is told",
    "vision/outline/band.py": "a field of its own of that name",
}
PRINTED = {"deg": "degrees", "%": "per cent", "mm2": "mm²", "cm2": "cm²", "mm/cm2": "mm/cm²", "1/cm2": "1/cm²"}


def written_in(name: str) -> list[str]:
    """The files in which a measure's name is written as text; the renderer has a truth of its own."""
    found = []
    for path in (*sorted((ROOT / "vision").rglob("*.py")), *sorted((ROOT / "app").rglob("*.py"))):
        text = path.read_text(encoding="utf-8")
        if f'"{name}"' in text:
            nodes = (node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Constant))
            found += [path.relative_to(ROOT).as_posix() for node in nodes if node.value == name]
    return found


@pytest.mark.parametrize("name", MEASURES)
def test_a_measure_is_written_in_two_places(name: str) -> None:
    listed = [path for path in written_in(name) if path not in OF_THEIR_OWN]
    assert listed.count(DECLARED) == 1
    computed = {path for path in listed if path != DECLARED}
    assert len(computed) <= 1
    assert all(path.startswith("vision/") for path in computed)


@pytest.mark.parametrize("name", MEASURES)
def test_the_docs_have_its_unit_and_zones(name: str) -> None:
    one = MEASURES[name]
    text = (ROOT / "docs" / "measures.md").read_text(encoding="utf-8")
    row = re.search(rf"^\| `{name}` \|([^|]*)\|([^|]*)\|", text, re.MULTILINE)
    assert row is not None
    assert row[1].strip() == PRINTED.get(one.unit, one.unit)
    if one.on == "outline":
        assert row[2].strip() == ("yes" if one.per_zone else "no")


def test_a_new_measure_needs_no_other_list(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(MEASURES, "gleam_deg", Measure("gleam_deg", "deg", "gleam", 1, "invented", per_zone=True))
    part = read_part(write_part(tmp_path))
    path = tmp_path / "limits.toml"
    path.write_text(f'{LIMITS}\n[[limit]]\nmeasure = "gleam_deg"\nmax = 2.0\nclass = "minor"\n')
    assert read_limits(path, part).limits[-1].measure == "gleam_deg"
    assert number_words("gleam_deg", 1.25) == "1.2°"
    write_pieces(tmp_path / "pieces.csv", part, [])
    assert f"gleam_deg.{part.zones[0].name}" in (tmp_path / "pieces.csv").read_text().splitlines()[0].split(",")
