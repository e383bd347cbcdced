"""Which room may know which, read off the source; and that no module grows past one idea."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STOREYS = ("vision", "app", "synthetic_images")
LONGEST_MODULE = 320  # lines; about what one idea takes

# room: what it must not import, itself excepted
CLOSED = {
    "vision": ["app", "synthetic_images"],
    "vision.records": ["vision.geometry", "vision.files", "vision.measure", "vision.decide", "vision.calibrate"],
    "vision.geometry": ["vision.files", "vision.measure", "vision.decide", "vision.calibrate"],
    "vision.measure": ["vision.files", "vision.decide", "vision.calibrate"],
    "vision.decide": ["vision.measure", "vision.geometry", "vision.calibrate", "cv2", "skimage", "tifffile"],
    "vision.files": ["vision.measure", "vision.calibrate"],
    "app.study": ["vision.measure", "vision.geometry", "vision.calibrate", "cv2", "skimage", "tifffile"],
    "app.pages": ["vision.measure", "vision.calibrate"],
    "synthetic_images": ["vision.geometry", "vision.measure", "app"],
}
ONLY_IN_PAGES = "streamlit"


def modules() -> list[Path]:
    return sorted(path for storey in STOREYS for path in (ROOT / storey).rglob("*.py"))


def dotted(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def imports(path: Path) -> Iterator[str]:
    """Every module or name that a file imports, dotted, wherever in the file it does so."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
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
        if any(lies_in(name, closed) for closed in CLOSED[room])
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
        if lies_in(dotted(path), "vision.measure")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and (node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")) in readers
    ]
    assert wrong == []


def test_inspecting_never_loads_streamlit() -> None:
    program = "import sys, app.cli.inspect, app.run.session, app.report.pictures; print('streamlit' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=ROOT)
    assert said.stdout.strip() == "False"


def test_a_package_holds_a_docstring_only() -> None:
    wrong = []
    for path in modules():
        if path.name == "__init__.py":
            body = ast.parse(path.read_text(encoding="utf-8")).body
            if len(body) != 1 or ast.get_docstring(ast.Module(body, [])) is None:
                wrong.append(dotted(path))
    assert wrong == []


@pytest.mark.parametrize("path", [*modules(), ROOT / "run.py"], ids=dotted)
def test_a_module_is_one_idea(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert ast.get_docstring(ast.parse(text)), "says nothing of itself"
    assert text.count("\n") <= LONGEST_MODULE


def test_only_the_batch_catches_everything() -> None:
    wide = [
        dotted(path)
        for path in modules()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ExceptHandler)
        and (node.type is None or (isinstance(node.type, ast.Name) and node.type.id == "Exception"))
    ]
    assert wide == ["app.run.batch"]
