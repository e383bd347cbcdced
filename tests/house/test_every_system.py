"""What only some systems have is not used, or only where the system was asked.

The names are those that the standard library's own documentation marks "Availability: Unix" or "Windows" (typed from
memory), and the places that only one system has.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house.test_rooms import ROOT, modules, parsed

MODULES = {
    "crypt", "fcntl", "grp", "nis", "ossaudiodev", "posix", "pty", "pwd", "resource", "spwd", "syslog", "termios",
    "tty", "_winapi", "msvcrt", "winreg", "winsound",
}  # fmt: skip
NAMES = {
    "os": {
        "O_CLOEXEC", "O_DIRECTORY", "O_NOFOLLOW", "O_NONBLOCK", "O_BINARY", "O_NOINHERIT", "chown", "fchmod", "fchown",
        "fork", "forkpty", "getegid", "geteuid", "getgid", "getgroups", "getloadavg", "getpgid", "getpgrp",
        "getpriority", "getuid", "getxattr", "killpg", "lchown", "mkfifo", "mknod", "nice", "pread", "pwrite",
        "sched_getaffinity", "sendfile", "set_blocking", "setpgid", "setsid", "setuid", "setxattr", "startfile",
        "statvfs", "sync", "sysconf", "uname", "wait", "wait3", "wait4",
    },
    "signal": {
        "SIGALRM", "SIGCHLD", "SIGHUP", "SIGKILL", "SIGPIPE", "SIGUSR1", "SIGUSR2", "alarm", "pause", "pthread_kill",
        "pthread_sigmask", "setitimer", "siginterrupt", "sigpending", "sigwait", "CTRL_C_EVENT", "CTRL_BREAK_EVENT",
    },
    "time": {"tzset"},
    "multiprocessing.resource_tracker": {"ensure_running"},
}  # fmt: skip
PLACES = ("/proc", "/dev/", "/tmp", "/usr/", "/etc/", "/var/", "C:\\")
# Debian alone: `run.py` looks there for what tests need of the system, and says so.
DEBIAN = {"run.py": ("/usr/bin/chromium", "/usr/sbin/mosquitto", "/usr/lib/postgresql")}
FILES = [*modules(), ROOT / "run.py"]


def used(tree: ast.AST) -> Iterator[str]:
    """What is used of one system alone, where no `if` or `and` around it asks `sys.platform`."""
    if isinstance(tree, ast.If | ast.IfExp) and "sys.platform" in ast.unparse(tree.test):
        return
    if isinstance(tree, ast.BoolOp) and "sys.platform" in ast.unparse(tree.values[0]):
        return
    if isinstance(tree, ast.Import):
        yield from (one.name for one in tree.names if one.name.partition(".")[0] in MODULES)
    elif isinstance(tree, ast.ImportFrom):
        module = tree.module or ""
        yield from ([module] if module.partition(".")[0] in MODULES else [])
        yield from (f"{module}.{one.name}" for one in tree.names if one.name in NAMES.get(module, ()))
    elif isinstance(tree, ast.Attribute) and tree.attr in NAMES.get(ast.unparse(tree.value), ()):
        yield ast.unparse(tree)
    elif isinstance(tree, ast.Constant) and isinstance(tree.value, str) and tree.value.startswith(PLACES):
        yield tree.value
    for inner in ast.iter_child_nodes(tree):
        yield from used(inner)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_nothing_is_used_that_only_some_systems_have(path: Path) -> None:
    known = DEBIAN.get(path.name, ())
    assert [one for one in used(parsed(path)) if one not in known] == []


@pytest.mark.parametrize(
    "text",
    [
        "import fcntl",
        "from resource import getrusage",
        "import os\nos.killpg(1, 2)",
        "from os import fork",
        "import signal\nsignal.pthread_sigmask(1, 2)",
        "Path('/proc/self/mem')",
        "import os\nif os.name:\n    os.geteuid()",
    ],
)
def test_what_only_some_systems_have_is_seen(text: str) -> None:
    assert list(used(ast.parse(text)))


def test_where_the_system_was_asked_it_may_be_used() -> None:
    asked = "import os, sys\nif sys.platform != 'win32':\n    os.fork()\nx = sys.platform == 'win32' or os.geteuid()"
    assert list(used(ast.parse(asked))) == []


def texts_of(tree: ast.AST) -> Iterator[ast.Call]:
    """Calls that open a file as text, or read or write one whole."""
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute | ast.Name)):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
        of_os = isinstance(node.func, ast.Attribute) and ast.unparse(node.func.value) in ("os", "tifffile")
        modes = [one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)]
        if name in ("read_text", "write_text") or (name == "open" and modes and not of_os and "b" not in modes[0]):
            yield node


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_every_text_says_its_encoding(path: Path) -> None:
    # Windows takes another one where nothing is said.
    for call in texts_of(parsed(path)):
        said = [*call.args, *(one.value for one in call.keywords if one.arg == "encoding")]
        words = [one.value for one in said if isinstance(one, ast.Constant)]
        function = ast.unparse(call.func)
        assert "utf-8" in words or "ascii" in words or function == "read_text", f"{path}: {ast.unparse(call)}"
