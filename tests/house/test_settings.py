"""What decides a measurement stands in its module's settings, with its unit and reason, and in every result.

A new constant of these rooms is a field of its module's `...Settings`, or stands below with why it decides nothing.
"""

import ast
import importlib
import re
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import pytest

from tests.house.test_rooms import ROOT, parsed
from vision.backlight.settings import BACKLIGHT
from vision.outline.settings import OUTLINE
from vision.settings import settings_used

ROOMS = {"backlight": BACKLIGHT, "outline": OUTLINE}
# Constants that decide nothing: how something is computed, or what is true whatever anybody sets.
NO_SETTINGS = {
    "vision/backlight/codes.py": {"_FOURTH": "derived"},
    "vision/backlight/field.py": {"BLOCK_PX": "the grid that levels are kept on; their frame of reference"},
    "vision/backlight/lamp.py": {"BLOCK_PX": "the grid that a lamp's evenness is kept on"},
    "vision/backlight/limits.py": {"*": "what is proposed for a station's file, where a person sees it"},
    "vision/backlight/response.py": {"_START_BLUR_PX": "where a fit begins"},
    "vision/outline/bumps.py": {"_EXTENT": "of a bell, derived"},
    "vision/outline/edges.py": {"_COLUMNS": "a bound of OpenCV's", "_PHASES": "how finely a table is kept"},
    "vision/outline/light_extent.py": dict.fromkeys(("_NODES", "_SHARES"), "of a quadrature, derived"),
    "vision/outline/nominal.py": {"_CELL_MM": "how nearest points are looked up", "_MARGIN_MM": "the same"},
    "vision/outline/other_scale.py": {"_UNITS_MM": "units, by definition; for words"},
    "vision/outline/prediction.py": {"_ACROSS_PX": "a setting, as an array"},
    "vision/outline/registration.py": {"MAD_TO_SD": "of a normal distribution, derived"},
    "vision/outline/regions.py": {"_COARSE": "half size, to begin with"},
    "vision/outline/rim_light.py": {"STEEL": "two settings, as a complex number"},
    "vision/outline/scene.py": {"_STEP_DECIMALS": "so that stations alike share one nominal"},
    "vision/outline/turned_over.py": {"_MIRROR": "derived"},
    "vision/outline/zone_measures.py": {"MISSING": "no number"},
}
MODULES = [path for room in ROOMS for path in sorted((ROOT / "vision" / room).glob("*.py"))]


def name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def constants(path: Path) -> set[str]:
    """Names of a module's constants, its settings excepted."""
    found = set()
    for node in parsed(path).body:
        targets = (
            node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
        )
        names = {one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name)}
        value = ast.unparse(node.value) if isinstance(node, ast.Assign | ast.AnnAssign) and node.value else ""
        if not re.fullmatch(r"\w+Settings\(\)", value):
            found |= {one for one in names if re.fullmatch(r"_?[A-Z][A-Z0-9_]+", one)}
    return found


def settings_of(path: Path) -> dict[str, ast.ClassDef]:
    return {
        node.name: node
        for node in parsed(path).body
        if isinstance(node, ast.ClassDef) and node.name.endswith("Settings")
    }


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_what_decides_stands_in_settings(path: Path) -> None:
    spared = NO_SETTINGS.get(name(path), {})
    assert constants(path) - set(spared) == set() or "*" in spared
    assert set(spared) - {"*"} <= constants(path)


@pytest.mark.parametrize("path", [path for path in MODULES if path.name != "settings.py"], ids=name)
def test_every_setting_has_its_reason_beside_it(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    for record in settings_of(path).values():
        rows = [node for node in record.body if isinstance(node, ast.AnnAssign)]
        bare = [ast.unparse(row.target) for row in rows if not lines[row.lineno - 2].strip().startswith("# ")]
        assert bare == []


@pytest.mark.parametrize("room", ROOMS)
def test_a_rooms_record_holds_all_its_settings(room: str) -> None:
    record = ROOMS[room]
    for path in sorted((ROOT / "vision" / room).glob("*.py")):
        if path.name == "settings.py" or not settings_of(path):
            continue
        (kind,) = settings_of(path)
        module = importlib.import_module(f"vision.{room}.{path.stem}")
        (used,) = [
            one
            for one in vars(module).values()
            if type(one).__name__ == kind and type(one).__module__ == module.__name__
        ]
        assert getattr(record, path.stem) is used
    assert all(is_dataclass(getattr(record, one.name)) for one in fields(record))


def test_equal_settings_bear_an_equal_name(monkeypatch: pytest.MonkeyPatch) -> None:
    before = settings_used()
    assert before == settings_used.__wrapped__()
    assert before.values["outline"]["bumps"]["short_mm"] == OUTLINE.bumps.short_mm
    other = replace(OUTLINE, bumps=replace(OUTLINE.bumps, short_mm=7.0))
    monkeypatch.setattr("vision.settings.OUTLINE", other)
    after = settings_used.__wrapped__()
    assert after.digest != before.digest
    assert after.values["outline"]["bumps"]["short_mm"] == 7.0
