"""Which works, or which store, a command acts on, by what it was given."""

from pathlib import Path

from app.store import Store, open_store
from app.works.folder import WORKS_FILE, Works, read_works
from app.works.roles import Act, who_acts
from vision.errors import Unusable


def acts_on(file: Path, by: str | None, act: Act) -> Path | None:
    """Let nobody write a station's file of a works but those who may, by whatever way the file is named.

    Parameters
    ----------
    file
        A station's.
    by
        A name from works.toml; none: by account.
    act
        What they do.

    Returns
    -------
    Path | None
        The works' folder; none where the file is no works' own.

    Raises
    ------
    Unusable
        The works says that this person may not.
    """
    folder = file.resolve().parent.parent
    if not (folder / WORKS_FILE).is_file():
        return None
    who_acts(read_works(folder), by, act)
    return folder


def open_chosen(works: Path | None, store: str | None, walk: bool = True) -> tuple[Store, Works | None]:
    """The store that a command was given by `--works` or `--store` (which comes first), and the works.

    Parameters
    ----------
    works
        Its folder, where one was named.
    store
        A file or URL, where one was named.
    walk
        As for `open_store`.

    Returns
    -------
    tuple[Store, Works | None]
        The open store, which the caller closes; the works, none where only a store was named.

    Raises
    ------
    Unusable
        Neither was given, or what was given can't be used.
    """
    folder = None if works is None else read_works(works)
    if store is not None:
        return open_store(store, must_exist=True, walk=walk), folder
    if folder is None:
        raise Unusable("--works", "", "expected --works WORKS or --store URL")
    return folder.open(walk), folder
