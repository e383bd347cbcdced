"""Every error that a person is meant to read, in one place."""

from pathlib import Path


class Unusable(Exception):
    """A call, or a file it needs, can't be used; nothing was written for it.

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
        place = f"{self.where}: {what}" if what else self.where
        tail = f" (found {found})" if found else ""
        super().__init__(f"{place}: {expected}{tail}".replace("\n", " "))


class Incomplete(Unusable):
    """Something that belongs to it is not there, and may only be on its way."""
