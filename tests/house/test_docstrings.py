"""Docstrings of what doors offer: sections, shapes, units, and what is raised, as numpydoc has them.

What is told by a name or a type need not be told again: `height_mm` bears its unit, a `Part` is explained where it is
declared. Everything else is asked for.
"""

import ast
import re
from typing import TypeVar

import pytest

from tests.house.test_rooms import ROOMS, ROOT, door, parsed

HEADING = re.compile(r"^(Parameters|Returns|Yields|Raises|Examples)\n-+\n", re.MULTILINE)
ARRAYS = re.compile(r"\b(Array|NDArray|Pixels|Image|Mask)\b")
SHAPE = re.compile(r"\((?:\w+|\d+|\w+ [+-] \d+)?,[^)]*\)|\(rows, columns\)|\(pieces,|\(\.\.\.,")
# A number's unit: in its name, or in what is said of it.
IN_NAME = re.compile(r"_(mm|mm2|px|deg|rad|um|s|ms|cm2|share|percent|days)(_|$)")
SAID = re.compile(
    r"\b(mm2?|cm2|px|degrees?|rad|shares?|probabilit\w+|quantile|counts?|vertices|units?|percent|standard|samples|sigma|"
    r"times|%|chances?|number|how many|coverage|none|bound)\b",
    re.IGNORECASE,
)

Kind = TypeVar("Kind", ast.FunctionDef, ast.ClassDef)


def offered(room: str, kind: type[Kind]) -> dict[str, Kind]:
    """Every function, or every class, that a door offers, by name."""
    return {
        name: node
        for name, module in door(room).items()
        for node in parsed(ROOT / f"{module.replace('.', '/')}.py").body
        if isinstance(node, kind) and node.name == name
    }


FUNCTIONS = {room: offered(room, ast.FunctionDef) for room in ROOMS}
CLASSES = {room: offered(room, ast.ClassDef) for room in ROOMS}


def sections(node: ast.FunctionDef) -> dict[str, str]:
    """A docstring by its sections; what stands before the first is ""."""
    parts = HEADING.split(ast.get_docstring(node) or "")
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def parameters(text: str) -> dict[str, str]:
    """What is said of each parameter; `a, b` are two that share a text."""
    found: dict[str, str] = {}
    names: list[str] = []
    for line in text.splitlines():
        if line and not line.startswith(" "):
            names = [name.strip() for name in line.split(",")]
        for name in names:
            found[name] = f"{found.get(name, '')} {line.strip() if line.startswith(' ') else ''}".strip()
    return found


def arguments(node: ast.FunctionDef) -> dict[str, str]:
    every = (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)
    return {one.arg: ast.unparse(one.annotation) if one.annotation else "" for one in every}


def test_there_are_functions_to_look_at() -> None:
    assert sum(map(len, FUNCTIONS.values())) > 350


@pytest.mark.parametrize("room", ROOMS)
def test_every_argument_is_told_in_its_order(room: str) -> None:
    for name, node in FUNCTIONS[room].items():
        assert list(parameters(sections(node).get("Parameters", ""))) == list(arguments(node)), name


@pytest.mark.parametrize("room", ROOMS)
def test_what_comes_back_is_told(room: str) -> None:
    for name, node in FUNCTIONS[room].items():
        told = sections(node)
        returns = ast.unparse(node.returns) if node.returns else "None"
        assert ("Returns" in told or "Yields" in told) == (returns != "None"), name
        if ARRAYS.search(returns):
            assert SHAPE.search(told[""] + told.get("Returns", "") + told.get("Yields", "")) or "Pixels" in returns, (
                name
            )


@pytest.mark.parametrize("room", ROOMS)
def test_arrays_have_shapes_and_numbers_units(room: str) -> None:
    for name, node in FUNCTIONS[room].items():
        told = parameters(sections(node).get("Parameters", ""))
        for argument, kind in arguments(node).items():
            assert told[argument], (name, argument)
            if ARRAYS.search(kind):
                assert SHAPE.search(told[argument]), (name, argument)
            if re.fullmatch(r"float( \| None)?", kind) and not IN_NAME.search(argument):
                assert SAID.search(told[argument]), (name, argument)


@pytest.mark.parametrize("room", ROOMS)
def test_what_is_raised_is_told(room: str) -> None:
    for name, node in FUNCTIONS[room].items():
        caught = {
            id(one)
            for attempt in ast.walk(node)
            if isinstance(attempt, ast.Try) and attempt.handlers
            for statement in attempt.body
            for one in ast.walk(statement)
        }
        raised = {
            one.exc.func.id
            for one in ast.walk(node)
            if isinstance(one, ast.Raise) and isinstance(one.exc, ast.Call) and isinstance(one.exc.func, ast.Name)
            if id(one) not in caught
        }
        told = sections(node).get("Raises", "")
        assert {one for one in raised if one[0].isupper() and one not in told} == set(), name


def fields(node: ast.ClassDef) -> dict[str, tuple[str, str]]:
    """A record's public fields: type, and the string below it where there is one."""
    found = {}
    for here, after in zip(node.body, [*node.body[1:], None], strict=True):
        if isinstance(here, ast.AnnAssign) and isinstance(here.target, ast.Name) and here.target.id[0] != "_":
            told = after.value.value if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) else ""
            found[here.target.id] = (ast.unparse(here.annotation), str(told))
    return found


@pytest.mark.parametrize("room", ROOMS)
def test_a_class_and_what_it_offers_are_told(room: str) -> None:
    for name, node in CLASSES[room].items():
        assert ast.get_docstring(node), name
        methods = [one for one in node.body if isinstance(one, ast.FunctionDef) and one.name[0] != "_"]
        assert [one.name for one in methods if not ast.get_docstring(one)] == [], name


@pytest.mark.parametrize("room", ROOMS)
def test_a_records_arrays_have_shapes_and_its_numbers_units(room: str) -> None:
    for name, node in CLASSES[room].items():
        told = ast.get_docstring(node) or ""
        for field, (kind, below) in fields(node).items():
            if ARRAYS.search(kind):
                assert SHAPE.search(told + below), (name, field)
            if re.fullmatch(r"float( \| None)?", kind) and not IN_NAME.search(field):
                assert re.search(rf"\b{field}\b", told) or SAID.search(told + below), (name, field)
