"""What is packed, what it needs, and that it loads without going in circles."""

import ast
import re
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from graphlib import TopologicalSorter
from importlib.metadata import packages_distributions
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.house.test_rooms import ROOT, STOREYS, dotted, imports, modules, parsed, through_doors

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
HEADLESS = "opencv-python-headless"  # the twin that stands in for opencv-python
# Not imported by name: itsdangerous signs starlette's session cookies, psycopg is named in a store's URL.
INDIRECT = {"itsdangerous", "psycopg"}


def declared() -> list[Requirement]:
    """All that the project says it needs to run, extras included."""
    extras = PROJECT["optional-dependencies"].values()
    return [Requirement(one) for group in (PROJECT["dependencies"], *extras) for one in group]


def locked(name: str) -> dict[str, str]:
    """Versions by library that a lock holds."""
    text = (ROOT / "requirements" / name).read_text(encoding="utf-8")
    return {canonicalize_name(n): v for n, v in re.findall(r"^([A-Za-z0-9._-]+)==([^\s;\\]+)", text, re.MULTILINE)}


def libraries_imported() -> dict[str, set[str]]:
    """Top names of others' libraries that the project imports, each with the distributions that could bring it."""
    owners = packages_distributions()
    tops = {name.partition(".")[0] for path in modules() for name in imports(path)}
    others = tops - set(STOREYS) - set(sys.stdlib_module_names)
    return {top: {canonicalize_name(owner) for owner in owners.get(top, [])} for top in others}


def test_the_wheel_holds_every_file_of_the_packages(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    built = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert built.returncode == 0, built.stdout + built.stderr
    (wheel,) = tmp_path.glob("brightbowl-*.whl")
    packed = {name for name in zipfile.ZipFile(wheel).namelist() if name.partition("/")[0] in STOREYS}
    files = (path for storey in STOREYS for path in (ROOT / storey).rglob("*") if path.is_file())
    assert packed == {path.relative_to(ROOT).as_posix() for path in files if "__pycache__" not in path.parts}


def test_every_library_imported_is_declared() -> None:
    known = {canonicalize_name(one.name) for one in declared()} | {HEADLESS}
    assert [top for top, owners in libraries_imported().items() if not owners & known] == []


def test_every_library_declared_is_imported() -> None:
    used = set().union(*libraries_imported().values())
    used |= {"opencv-python"} if HEADLESS in used else set()
    assert {canonicalize_name(one.name) for one in declared()} - used - INDIRECT == set()


def test_locks_satisfy_what_is_declared_and_one_another() -> None:
    run, test, opencv = locked("run.txt"), locked("test.txt"), locked("opencv.txt")
    assert {name: test.get(name) for name in run} == run
    station = locked("station.txt")
    assert {name: run.get(name) for name in station} == station
    assert list(opencv.values()) == list(locked("opencv-headless.txt").values())
    assert not {"opencv-python", HEADLESS} & test.keys()
    versions = {**run, **opencv}
    assert [str(one) for one in declared() if not one.specifier.contains(versions[canonicalize_name(one.name)])] == []


def test_modules_load_without_going_in_circles() -> None:
    names = {dotted(path) for path in modules()}
    graph = {dotted(path): {name for name in loaded(path) if name in names} - {dotted(path)} for path in modules()}
    assert len(tuple(TopologicalSorter(graph).static_order())) == len(names)


def loaded(path: Path) -> Iterator[str]:
    """What a module imports when it is loaded: not in functions, nor what only a type checker reads."""
    waiting: list[ast.AST] = [parsed(path)]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.ImportFrom) and node.module:
            found = (through_doors(f"{node.module}.{alias.name}") for alias in node.names)
            yield from (name for full in found for name in (full, full.rpartition(".")[0]))
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        checker_only = isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        if not checker_only and not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            waiting.extend(ast.iter_child_nodes(node))
