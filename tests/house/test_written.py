"""What exists is written about, and what is written exists."""

import ast
import re
import tomllib
from pathlib import Path
from typing import get_args

import pytest

from app.cli.commands import COMMANDS, cli
from app.report.cautions import CAUTIONS
from vision.decide.measures import MEASURES
from vision.formats import limits, part, shot, station
from vision.formats.strict import Strict
from vision.records.measured import EdgeKind, Fault, TrayKind

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DOCS = ROOT / "docs"


def page(name: str) -> str:
    return (DOCS / f"{name}.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_documented(name: str) -> None:
    assert f"## {name}\n" in page("commands")
    assert f"{{command-help}} {name}\n" in page("commands")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_of_its_own(name: str) -> None:
    with cli.make_context("brightbowl", [], resilient_parsing=True) as context:
        command = cli.get_command(context, name)
    assert command is not None
    assert command.help


@pytest.mark.parametrize("name", MEASURES)
def test_every_measure_is_documented(name: str) -> None:
    assert f"| `{name}` |" in page("measures")


@pytest.mark.parametrize(
    "kind", [*get_args(EdgeKind), *get_args(TrayKind), *get_args(Fault), "scratch", "pit", "speck"]
)
def test_every_finding_and_fault_is_documented(kind: str) -> None:
    assert f"`{kind}`" in page("measures")


def keys(model: type[Strict]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


@pytest.mark.parametrize("module", [station, part, limits, shot], ids=lambda module: module.__name__)
def test_every_key_of_a_file_is_documented(module: object) -> None:
    models = [one for one in vars(module).values() if isinstance(one, type) and issubclass(one, Strict)]
    wanted = {key for model in models if model is not Strict for key in keys(model)}
    assert wanted, "no keys found"
    text = page("files")
    assert [key for key in sorted(wanted) if not re.search(rf"\b{key}\b", text)] == []


def test_readme_begins_with_the_job() -> None:
    title, first = README.split("\n\n")[:2]
    assert title == "# brightbowl"
    assert all(word in first for word in ("spoons", "measures", "outline", "judges", "reasons"))


def test_readme_names_both_commands_and_run_knows_them() -> None:
    said = set(re.findall(r"python3 run\.py (\w+)", README))
    source = (ROOT / "run.py").read_text(encoding="utf-8")
    jobs = next(
        ast.literal_eval(node.value)
        for node in ast.parse(source).body
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "LOCK_OF_JOB"
    )
    assert said == set(jobs)


def test_cautions_stand_in_readme_and_docs() -> None:
    for text in (README, page("cautions")):
        plain = re.sub(r"[\s*]+", " ", text)
        for told in (
            "burrs",
            "guards in place",
            "IEC 62471",
            "no release for food contact",
            "Local codes and licensed",
        ):
            assert told in plain
            assert any(told in caution for caution in CAUTIONS)


@pytest.mark.parametrize("path", [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.glob("*.md"))], ids=str)
def test_links_lead_somewhere(path: Path) -> None:
    places = re.findall(r"\]\((?!https?:|#)([^)#\s]+)", path.read_text(encoding="utf-8"))
    assert [place for place in places if not (path.parent / place).exists()] == []


def test_locks_are_hashed_and_name_no_place() -> None:
    locks = sorted((ROOT / "requirements").glob("*.txt"))
    assert [lock.name for lock in locks] == ["opencv-headless.txt", "opencv.txt", "run.txt", "station.txt", "test.txt"]
    for lock in locks:
        text = lock.read_text(encoding="utf-8")
        assert "://" not in text
        packages = re.split(r"\n(?=\S)", text.strip())
        assert all("--hash=sha256:" in package for package in packages)


def test_locks_hold_what_the_project_asks_for() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    groups = project["dependency-groups"]
    run = [*project["project"]["dependencies"], *groups["build"]]
    run += [one for extra in project["project"]["optional-dependencies"].values() for one in extra]
    for lock, wanted in (("run.txt", run), ("test.txt", [*run, *groups["dev"]])):
        locked = set(re.findall(r"^([A-Za-z0-9-]+)==", (ROOT / "requirements" / lock).read_text(), re.MULTILINE))
        names = {re.split(r"[\[>=<]", one)[0] for one in wanted} - {"opencv-python"}
        assert sorted(names - locked) == []


@pytest.mark.parametrize("path", [DOCS / "places.md", ROOT / "DEVELOPERS.md"], ids=lambda path: path.stem)
def test_the_places_named_are_there(path: Path) -> None:
    named = re.findall(r"`([\w/]+(?:\.py|\.md|/))`(?::\s+`(\w+)`)?", path.read_text(encoding="utf-8"))
    named = [(place, name) for place, name in named if "/" in place.rstrip("/") and "NAME" not in place]
    assert len(named) > 10
    assert [place for place, _ in named if not (ROOT / place).exists()] == []
    lost = [(place, name) for place, name in named if name and name not in (ROOT / place).read_text(encoding="utf-8")]
    assert lost == []


def test_version_is_in_the_changelog() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["version"] in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
