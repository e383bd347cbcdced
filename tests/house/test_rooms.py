"""Which room may know which, read off the source; and that no module grows past one idea."""

import ast
import importlib
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STOREYS = ("vision", "app", "synthetic_images")
LONGEST_MODULE = 300  # lines; about what one idea takes

# Rooms with a door: `__init__.pyi` names what others may use of it.
ROOMS = (
    *(
        f"vision.{name}"
        for name in (
            "records",
            "geometry",
            "formats",
            "backlight",
            "outline",
            "face",
            "decide",
            "calibrate",
            "drafting",
        )
    ),
    *(f"app.{name}" for name in ("statistics", "studies", "works", "store", "watch", "run", "report", "pages")),
    "synthetic_images",
)
MEASURING = ["vision.backlight", "vision.outline", "vision.face"]
IMAGES = [*MEASURING, "vision.geometry", "vision.calibrate", "cv2", "skimage", "tifffile"]

# room: what it must not import, itself excepted
CLOSED = {
    "vision": ["app", "synthetic_images"],
    "vision.records": ["vision.geometry", "vision.formats", *MEASURING, "vision.decide", "vision.calibrate"],
    "vision.geometry": ["vision.formats", *MEASURING, "vision.decide", "vision.calibrate"],
    "vision.backlight": ["vision.formats", "vision.outline", "vision.face", "vision.decide"],
    "vision.outline": ["vision.formats", "vision.face", "vision.decide", "vision.calibrate"],
    "vision.face": ["vision.formats", "vision.outline", "vision.decide", "vision.calibrate"],
    "vision.decide": IMAGES,
    "vision.formats": MEASURING,
    "app.statistics": [
        *IMAGES,
        "app.studies",
        "app.store",
        "app.report",
        "app.pages",
        "vision.records",
        "vision.formats",
    ],
    "app.studies": [*IMAGES, "app.store", "app.report", "app.pages"],
    "app.pages": [*MEASURING, "vision.calibrate"],
    "synthetic_images": ["vision.geometry", *MEASURING, "app"],
}
ONLY_IN_PAGES = "streamlit"
DOOR = """
import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
"""
# What a room offers to those who use brightbowl as a library, beyond what our own rooms use.
LIBRARY: dict[str, set[str]] = {"app.report": {"draw_tray"}, "vision.formats": {"read_judge", "write_judge"}}


@cache
def modules() -> tuple[Path, ...]:
    return tuple(sorted(path for storey in STOREYS for path in (ROOT / storey).rglob("*.py")))


def dotted(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def imports(path: Path) -> tuple[str, ...]:
    return tuple(_imports(path))


@cache
def imports_from(path: Path) -> tuple[ast.ImportFrom, ...]:
    """Every `from ... import ...` of a file, wherever in the file it stands."""
    return tuple(node for node in ast.walk(parsed(path)) if isinstance(node, ast.ImportFrom) and node.module)


def _imports(path: Path) -> Iterator[str]:
    """Every module or name that a file imports, dotted, wherever in the file it does so."""
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{dotted(path)} imports relatively"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def lies_in(name: str, room: str) -> bool:
    return name == room or name.startswith(f"{room}.")


def test_there_are_modules_to_look_at() -> None:
    assert {dotted(path).split(".")[0] for path in modules()} == set(STOREYS)


@pytest.mark.parametrize("room", CLOSED)
def test_a_room_does_not_know_what_it_must_not(room: str) -> None:
    wrong = [
        f"{dotted(path)} imports {name}"
        for path in modules()
        if lies_in(dotted(path), room)
        for name in imports(path)
        if any(lies_in(through_doors(name), closed) for closed in CLOSED[room])
    ]
    assert wrong == []


def test_only_the_pages_import_streamlit() -> None:
    wrong = [
        dotted(path)
        for path in modules()
        if not lies_in(dotted(path), "app.pages") and any(lies_in(name, ONLY_IN_PAGES) for name in imports(path))
    ]
    assert wrong == []


def test_measuring_reads_no_files() -> None:
    readers = {"open", "imread", "read_text", "read_bytes", "fromfile", "loadtxt"}
    wrong = [
        f"{dotted(path)}:{node.lineno}"
        for path in modules()
        if any(lies_in(dotted(path), room) for room in MEASURING)
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.Call)
        and (node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")) in readers
    ]
    assert wrong == []


def test_inspecting_never_loads_streamlit() -> None:
    program = "import sys, app.cli.inspect, app.run.session, app.report.pictures; print('streamlit' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=ROOT)
    assert said.stdout.strip() == "False"


@cache
def room_of(name: str) -> str | None:
    """The room that a module lies in."""
    return next((room for room in ROOMS if lies_in(name, room)), None)


@cache
def door(room: str) -> dict[str, str]:
    """What a room offers: name to the module that holds it."""
    stub = ast.parse((ROOT / room.replace(".", "/") / "__init__.pyi").read_text(encoding="utf-8"))
    found = [node for node in stub.body if isinstance(node, ast.ImportFrom)]
    return {alias.name: f"{room}.{node.module}" for node in found for alias in node.names}


def through_doors(name: str) -> str:
    """The module behind a name that is imported from a room's door; other names as they are."""
    room, _, offered = name.rpartition(".")
    return f"{door(room)[offered]}.{offered}" if room in ROOMS and offered in door(room) else name


def test_rooms_are_entered_through_their_doors() -> None:
    wrong = [
        f"{dotted(path)} imports {node.module}"
        for path in modules()
        for node in imports_from(path)
        if room_of(str(node.module)) not in (None, node.module, room_of(dotted(path)))
    ]
    assert wrong == []


@pytest.mark.parametrize("room", ROOMS)
def test_a_door_offers_what_others_use_and_no_more(room: str) -> None:
    used = {
        alias.name
        for path in modules()
        if room_of(dotted(path)) != room
        for node in imports_from(path)
        if node.module == room
        for alias in node.names
    }
    assert set(door(room)) == used | LIBRARY.get(room, set())
    assert set(importlib.import_module(room).__all__) == set(door(room))


def test_a_package_holds_a_docstring_and_its_door_only() -> None:
    opening = ast.parse(DOOR).body
    wrong = []
    for path in modules():
        if path.name == "__init__.py":
            body = parsed(path).body
            rest = [ast.unparse(node) for node in body[1:]]
            doors = [ast.unparse(node) for node in opening] if path.with_suffix(".pyi").exists() else []
            if rest != doors or ast.get_docstring(ast.Module(body, [])) is None:
                wrong.append(dotted(path))
    assert wrong == []


@pytest.mark.parametrize("path", [*modules(), ROOT / "run.py"], ids=dotted)
def test_a_module_is_one_idea(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert ast.get_docstring(ast.parse(text)), "says nothing of itself"
    assert text.count("\n") <= LONGEST_MODULE


def test_only_the_batch_and_the_watcher_s_loop_catch_everything() -> None:
    wide = [
        dotted(path)
        for path in modules()
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.ExceptHandler)
        and (node.type is None or (isinstance(node.type, ast.Name) and node.type.id == "Exception"))
    ]
    assert wide == ["app.run.attempt", "app.watch.loop"]
