"""What a station that only judges does without: commands that want more say in one line what to install."""

import sys
import tomllib
from pathlib import Path

import pytest

from app.works.folder import new_works
from tests.run.made import make_files, make_shots
from tests.shell import Run

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    ("library", "extra", "words"),
    [
        ("streamlit", "pages", "serve --works {works}"),
        ("pyarrow", "parquet", "export --works {works} --out {out} --parquet"),
        ("paho", "line", "hand-over --works {works} --broker mqtt://127.0.0.1:1"),
        ("distributed", "cluster", "inspect {shots} --works {works} --scheduler tcp://127.0.0.1:1 --plain"),
        ("psycopg", "postgres", "serve --store postgresql://nobody@127.0.0.1:1/nothing"),
    ],
)
def test_a_command_without_its_library_says_what_to_install(
    library: str,
    extra: str,
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    run: Run,
) -> None:
    works = new_works(tmp_path / "works", "Aldermoor")
    for name in [name for name in sys.modules if name.partition(".")[0] == library]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, library, None)
    make_shots(works.shots, "T-1")
    make_files(works.part_file("TS-135").parent)
    for name, place in (("station", works.station_file("ST-1")), ("limits", works.limits_file("TS-135"))):
        works.part_file("TS-135").with_name(f"{name}.toml").rename(place)
    told = words.format(works=works.folder, shots=works.shots, out=tmp_path / "out").split()
    code, _, errors = run(*told)
    assert code == 2
    (line,) = errors.splitlines()
    assert f"install brightbowl[{extra}]" in line


def test_what_a_station_needs_has_none_of_them() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    plain = " ".join(project["dependencies"])
    extras = project["optional-dependencies"]
    assert sorted(extras) == ["cluster", "line", "login", "pages", "parquet", "pdf", "postgres", "seal"]
    for library in ("streamlit", "pyarrow", "paho", "distributed", "psycopg", "weasyprint", "cryptography"):
        assert library not in plain
