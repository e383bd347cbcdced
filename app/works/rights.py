"""Who may read what of a works, as the system sees it."""

import sys

from app.works.folder import Works

SECRETS = ("login.toml", ".desk-secret")


def rights_words(works: Works) -> tuple[str, ...]:
    """What is open to more people than it should be, a line each, for whoever runs the works; nothing is changed.

    Parameters
    ----------
    works
        The works.

    Returns
    -------
    tuple[str, ...]
        The lines; empty where all is as it should be.
    """
    if sys.platform == "win32":
        return ()  # rights there are lists of their own, which these bits don't tell
    lines = []
    if works.folder.stat().st_mode & 0o007:
        lines.append(f"{works.folder}: open to every account of this machine; chmod -R o= {works.folder}")
    for name in SECRETS:
        file = works.folder / name
        if file.is_file() and file.stat().st_mode & 0o077:
            lines.append(f"{file}: a secret that others than its owner may read; chmod 600 {file}")
    return tuple(lines)
