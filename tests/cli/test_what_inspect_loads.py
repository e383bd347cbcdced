"""A process that inspects stays small: no pages, no database, no plots of studies."""

import subprocess
import sys

_NOT_NEEDED = ("streamlit", "sqlalchemy", "pandas", "tifffile", "ezdxf")


def test_inspecting_loads_no_pages_and_no_database() -> None:
    modules = "app.cli.inspect, app.run.session, app.report.pictures, vision.formats.part"
    loads = f"import sys, {modules}; print(*(name for name in {_NOT_NEEDED!r} if name in sys.modules))"
    done = subprocess.run([sys.executable, "-c", loads], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []
