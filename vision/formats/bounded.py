"""What every file is held to before it is believed, in one place for all formats.

Bytes before it is read; then nesting, digits, and characters that no database or file system takes. A reader of a
format asks here first, so that no file can cost more than its bounds, whatever it says.
"""

import os
import re
import stat
import struct
import tomllib
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from vision.errors import Unusable

_MB = 1_000_000
# A works' own files are some kilobytes; results of a full tray (200 findings on each piece) some megabytes; tables of
# years of verdicts and drawings of a hundred thousand lines some tens.
TOML_BYTES, JSON_BYTES, TABLE_BYTES, DRAWING_BYTES = _MB // 4, 64 * _MB, 64 * _MB, 32 * _MB
FRAME_BYTES = 400 * _MB
# No format here is nested deeper than eight.
NESTED = 24
# Whole numbers that a double holds exactly (IEEE 754), and so every database and spreadsheet; other numbers as far.
LARGEST = 2.0**53
_LONGEST_TEXT = 10_000
_ANYTHING: TypeAdapter[Any] = TypeAdapter(Any)
# tomllib takes a key of n parts apart in n squared steps.
_DOTTED = re.compile(r"""(?<![\w"'-])(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){64}""")
# A file name may have 255 bytes on the usual file systems (NAME_MAX as Linux has it); some are put before and after.
NAME_BYTES = 200

BROKEN = (
    ValueError,
    TypeError,
    AttributeError,
    LookupError,
    ArithmeticError,
    RuntimeError,  # RecursionError too
    AssertionError,
    StopIteration,
    EOFError,
    MemoryError,
    struct.error,
    zlib.error,
)
"""What libraries raise over a file that is damaged; each reader tells it as the file's own fault."""


@contextmanager
def reached(path: Path) -> Iterator[None]:
    """Tell what the system says of a file or folder as that file's fault: no right to it, a link to itself, a name.

    Parameters
    ----------
    path
        The file or folder that is asked for within.

    Yields
    ------
    None
        Nothing; what goes wrong within is told.

    Raises
    ------
    Unusable
        The system refused, whatever it said.
    """
    try:
        yield
    except Unusable:
        raise
    except (OSError, RuntimeError, ValueError) as fault:  # Path.resolve has RuntimeError for a loop of links
        said = fault.strerror if isinstance(fault, OSError) and fault.strerror else str(fault)
        raise Unusable(path, "", "a file or folder that can be read expected; check it and its rights", said) from None


def as_text_name(path: Path) -> None:
    """Refuse a path that is no text.

    Parameters
    ----------
    path
        Any path, of something that is there or not.

    Raises
    ------
    Unusable
        Its bytes are no UTF-8: a store can't keep it, nor could a report show it.
    """
    try:
        str(path).encode()
    except UnicodeEncodeError:
        raise Unusable(path, "", "a name in UTF-8 expected; rename it") from None


# Each where the system has it: not to wait, and bytes as they are.
_READING = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


def read_bytes(path: Path, most: int = TABLE_BYTES) -> bytes:
    """Read a whole file of at most so many bytes.

    Raises
    ------
    Unusable
        Where it is absent, no file, too large, or can't be read.
    """
    try:
        # Opened without waiting: a pipe in the place of a file would hold us until somebody writes into it.
        with os.fdopen(os.open(path, _READING), "rb") as file:
            found = os.fstat(file.fileno())
            if not stat.S_ISREG(found.st_mode):
                raise Unusable(path, "", "a file expected", "something else")
            if found.st_size <= most:
                data = file.read(most + 1)
                if len(data) <= most:
                    return data
            raise Unusable(path, "", f"at most {most / _MB:g} MB expected", f"{found.st_size / _MB:.0f} MB or more")
    except FileNotFoundError:
        raise Unusable(path, "", "this file is missing; check the path") from None
    except OSError as fault:
        raise Unusable(path, "", "a readable file expected", fault.strerror or "an error while reading") from None
    except ValueError:  # a NUL in its name
        raise Unusable(path, "", "the name of a file expected") from None


def read_text(path: Path, most: int = TABLE_BYTES) -> str:
    """Read a text file in UTF-8, with or without a byte order mark, that holds no NUL.

    Raises
    ------
    Unusable
        Where it can't be read or holds something else.
    """
    data = read_bytes(path, most)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise Unusable(
            path, "", "text in UTF-8 expected; save it so", f"another encoding at byte {fault.start}"
        ) from None
    if "\0" in text:
        raise Unusable(path, "", "text without NUL expected; save it again", f"one at character {text.index(chr(0))}")
    return text


def parse_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file within all bounds.

    Raises
    ------
    Unusable
        It is none, or leaves them.
    """
    text = read_text(path, TOML_BYTES)
    if _DOTTED.search(text):
        raise Unusable(path, "", "keys of fewer than 64 dots expected")
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as fault:
        raise Unusable(path, "", "a TOML file expected", str(fault)) from None
    _check(path, table)
    return table


def parse_json(path: Path, text: str, line: str = "") -> None:
    """Hold a JSON text to all bounds; `line` is where in the file it stands.

    Raises
    ------
    Unusable
        It is none, or leaves them.
    """
    try:
        tree = _ANYTHING.validate_json(text)
    except ValidationError as fault:
        error = fault.errors(include_url=False)[0]
        raise Unusable(
            path, line, "a JSON file expected", str(error.get("ctx", {}).get("error", error["msg"]))
        ) from None
    _check(path, tree, line)


def _check(path: Path, tree: Any, line: str = "") -> None:
    """Walk all values, without recursion: how deep, how large, which characters."""
    waiting: list[tuple[Any, str, int]] = [(tree, "", 0)]
    while waiting:
        value, key, depth = waiting.pop()
        if isinstance(value, dict | list):
            if depth == NESTED:
                raise Unusable(path, line, f"tables and lists nested at most {NESTED} deep expected")
            if isinstance(value, list):
                waiting += [(one, f"{key}[{number}]", depth + 1) for number, one in enumerate(value, 1)]
                continue
            for name, one in value.items():
                if fault := _of_text(name):
                    raise Unusable(path, f"{line} {key}".strip(), f"in a key {fault} expected", name)
                waiting.append((one, f"{key}.{name}" if key else name, depth + 1))
            continue
        fault = _of_text(value) if isinstance(value, str) else _of_number(value)
        if fault:
            found = value if isinstance(value, str) else _digits(value)
            raise Unusable(path, f"{line} {key}".strip(), f"{fault} expected", found)


def _of_text(text: str) -> str:
    """What a text lacks, in words; nothing where all is well."""
    if len(text) > _LONGEST_TEXT:
        return f"text of at most {_LONGEST_TEXT} characters"
    if "\0" in text:
        return "printable text without NUL"
    try:
        text.encode()
    except UnicodeEncodeError:
        return "text of whole characters"
    return ""


def _of_number(value: Any) -> str:
    # NaN and infinity pass here; the format's own model tells them.
    if isinstance(value, int | float) and LARGEST < abs(value) < float("inf"):
        return "a number of at most 2^53"
    return ""


def _digits(value: float) -> str:
    return f"a number of {value.bit_length() // 3} digits" if isinstance(value, int) else repr(value)
