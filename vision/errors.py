"""Every error that a person is meant to read, in one place."""

from pathlib import Path

# Characters of a key or a cell that a line shows: enough to find it by, few enough that the line stays one to read.
_SHOWN, _ASKED = 240, 900


def printable(text: str, most: int | None = None) -> str:
    """A text as it can be shown anywhere: spaces for ends of lines, other control characters escaped, long ones cut.

    Names of files that are no UTF-8 show their bytes (`T-\\xff`).

    Examples
    --------
    >>> printable("a\\x1b[31m\\nb")
    'a\\\\x1b[31m b'
    """
    cut = text if most is None or len(text) <= most else f"{text[: most - 3]}..."
    if cut.isprintable():
        return cut
    return "".join(one if one.isprintable() else _escaped(one) for one in cut)


def _escaped(character: str) -> str:
    if character in "\n\r\t":
        return " "
    code = ord(character)
    if 0xDC80 <= code <= 0xDCFF:  # a byte of a file's name that is no UTF-8, as Python hands it on
        return f"\\x{code - 0xDC00:02x}"
    return character.encode("unicode_escape").decode("ascii")


class Unusable(Exception):
    """A call, or a file it needs, can't be used; nothing was written for it.

    Its text is one line of printable characters.

    Parameters
    ----------
    where
        The file, or the option of the command, at fault.
    what
        The key, frame or line in it; empty when it is the file as a whole.
    expected
        What would have been right, and what to do.
    found
        What was found instead; empty when nothing more can be said.
    """

    def __init__(self, where: Path | str, what: str, expected: str, found: str = "") -> None:
        self.where = str(where)
        self.what = what
        self.expected = expected
        self.found = found
        place = f"{self.where}: {printable(what, _SHOWN)}" if what else self.where
        tail = f" (found {printable(found, _SHOWN)})" if found else ""
        super().__init__(printable(f"{place}: {printable(expected, _ASKED)}{tail}"))


class Incomplete(Unusable):
    """Something that belongs to it is not there, and may only be on its way."""
