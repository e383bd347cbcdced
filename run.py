"""Set brightbowl up in `.venv` beside this file, then run its demo or its tests.

    python3 run.py demo     judge the trays of an invented works and say where to look
    python3 run.py test     run the tests; what follows goes to pytest, as in `python3 run.py test tests/decide -x`

Needs only Python 3.11 or later of a fresh system; this file uses nothing but the standard library. Set-up is repeated
when a lock, pyproject.toml or this file changes; an environment whose set-up was cut short is made anew.
"""

import ctypes
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
SCRIPTS = VENV / ("Scripts" if sys.platform == "win32" else "bin")
PYTHON = SCRIPTS / ("python.exe" if sys.platform == "win32" else "python")
STAMP = VENV / "brightbowl-setup"
LOCKS = ROOT / "requirements"
LOCK_OF_JOB = {"demo": "run.txt", "test": "test.txt"}  # test.txt holds everything of run.txt, in the same versions
OPENCV_TWINS = ("opencv-python", "opencv-python-headless")
OPENCV_NEEDS = ("libGL.so.1", "libgthread-2.0.so.0")  # what opencv-python loads and its headless twin doesn't (ldd)
MIN_PYTHON = (3, 11)
PYTHON_VERSION = f"python{sys.version_info.major}.{sys.version_info.minor} "


def loads(library: str) -> bool:
    """Whether this system has a shared library."""
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def has_postgresql() -> bool:
    """Whether PostgreSQL's server is installed, on PATH or where Debian puts it."""
    return shutil.which("initdb") is not None or any(Path("/usr/lib/postgresql").glob("*/bin/initdb"))


# What the tests use of the system: Debian's package and how to see that it is there.
SYSTEM_OF_TESTS: dict[str, Callable[[], bool]] = {
    "chromium": lambda: Path("/usr/bin/chromium").exists(),
    "libatomic1": lambda: loads("libatomic.so.1"),  # playwright's driver loads it
    "postgresql": has_postgresql,
    "mosquitto": lambda: Path("/usr/sbin/mosquitto").exists(),
    "libpango-1.0-0": lambda: loads("libpango-1.0.so.0"),
    "libpangoft2-1.0-0": lambda: loads("libpangoft2-1.0.so.0"),
    "libharfbuzz-subset0": lambda: loads("libharfbuzz-subset.so.0"),
}


def call(*command: str | Path, env: dict[str, str] | None = None) -> None:
    """Run a command in the project's folder; where it fails, so does this program, with its exit code."""
    code = subprocess.run([str(part) for part in command], cwd=ROOT, env=env).returncode
    if code != 0:
        sys.exit(f"run.py: `{' '.join(str(part) for part in command)}` failed with exit code {code}, see above")


def install_system(packages: list[str]) -> None:
    """Install Debian packages as root; anybody else is told the command."""
    line = f"apt-get install -y --no-install-recommends {' '.join(packages)}"
    if sys.platform == "win32" or os.geteuid() != 0 or shutil.which("apt-get") is None:
        sys.exit(f"run.py: this system lacks {', '.join(packages)}. On Debian run: sudo {line}")
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    call("apt-get", "update", "-q", env=quiet)
    call(*line.split(), "-q", env=quiet)


def make_venv(uv: str | None) -> None:
    """Make an empty `.venv`; Debian's python3 needs python3-venv for it unless uv is there."""
    if uv is not None:
        call(uv, "venv", "--quiet", "--clear", "--python", sys.executable, VENV)
        return
    if importlib.util.find_spec("ensurepip") is None:
        install_system(["python3-venv"])
    call(sys.executable, "-m", "venv", "--clear", VENV)


def wanted_stamp() -> str:
    """The Python that the environment is for, and a hash of all that decides what is installed in it."""
    files = [*sorted(LOCKS.glob("*.txt")), ROOT / "pyproject.toml", ROOT / "run.py"]
    digest = hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()
    return f"{PYTHON_VERSION}{digest}"


def set_up(job: str) -> None:
    """Bring `.venv` to what the locks say; quick where it is there already."""
    wanted = wanted_stamp()
    stamp = STAMP.read_text("utf-8") if STAMP.is_file() and PYTHON.exists() else None
    if stamp in (f"{wanted} {job}", f"{wanted} test"):
        return
    print(f"run.py: setting up {VENV} (a minute or two the first time)", flush=True)
    uv = shutil.which("uv")
    # Made anew where set-up was cut short, is of another Python, or was done by a uv that is gone now and left no pip.
    if (
        stamp is None
        or not stamp.startswith(PYTHON_VERSION)
        or (uv is None and shutil.which("pip", path=SCRIPTS) is None)
    ):
        make_venv(uv)
    STAMP.unlink(missing_ok=True)
    pip = [uv, "pip"] if uv is not None else [str(PYTHON), "-m", "pip"]
    into = ["--quiet", "--python", str(PYTHON)] if uv is not None else ["--quiet", "--disable-pip-version-check"]
    install = [*pip, "install", *into, "--no-deps", *([] if uv is not None else ["--no-compile"])]
    uninstall = [*pip, "uninstall", *into, "--quiet", *([] if uv is not None else ["--yes"])]
    # Both OpenCV twins write the same folder, so that one must go before the other comes; no lock names either but
    # their own, and --no-deps keeps what this project says of opencv-python from bringing it in again.
    call(*uninstall, *OPENCV_TWINS)
    bare = sys.platform == "linux" and not all(loads(library) for library in OPENCV_NEEDS)
    twin = "opencv-headless.txt" if bare else "opencv.txt"
    for lock in (LOCK_OF_JOB[job], twin):
        call(*install, "--require-hashes", "-r", LOCKS / lock)
    call(*install, "--no-build-isolation", "--editable", ROOT)
    STAMP.write_text(f"{wanted} {job}", "utf-8")


def main(arguments: list[str]) -> int:
    """Do one job; returns the exit code."""
    if sys.version_info < MIN_PYTHON:
        sys.exit(f"run.py: Python 3.11 or later is needed, this is {sys.version.split()[0]}")
    job = arguments[0] if arguments else ""
    if job not in LOCK_OF_JOB or (job == "demo" and len(arguments) > 1):
        print(__doc__, file=sys.stderr)
        return 2
    if job == "test" and (missing := [name for name, is_there in SYSTEM_OF_TESTS.items() if not is_there()]):
        install_system(missing)
    set_up(job)
    # Many short processes run below: each would compile all libraries anew where Python may not keep what it compiled.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    if job == "demo":
        return subprocess.run([SCRIPTS / "brightbowl", "demo", "--out", "demo"], cwd=ROOT).returncode
    return subprocess.run([SCRIPTS / "pytest", *arguments[1:]], cwd=ROOT).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
