"""What each role may do, asked for everywhere alike; and who acts, with how sure that is."""

from __future__ import annotations

import getpass
from typing import TYPE_CHECKING, Literal

from app.store import Acted
from vision.errors import Unusable

if TYPE_CHECKING:
    from app.works.folder import Works

Role = Literal["review", "tune", "release", "read"]
ROLES: tuple[Role, ...] = ("review", "tune", "release", "read")

Act = Literal[
    "review",
    "begin a blind round",
    "draft limits",
    "calibrate",
    "add a part",
    "import",
    "release limits",
    "release a judge of marks",
    "decide on a lot",
    "move a tray",
    "restore",
    "forget frames",
    "say how large a lot is",
]
NEEDS: dict[Act, Role] = {
    "review": "review",
    "begin a blind round": "tune",
    "draft limits": "tune",
    "calibrate": "tune",
    "add a part": "tune",
    "import": "tune",
    "release limits": "release",
    "release a judge of marks": "release",
    "decide on a lot": "release",
    "move a tray": "release",
    "restore": "release",
    "forget frames": "release",
    "say how large a lot is": "release",
}
"""The one table of what each role may do; `docs/roles.md` shows it. Whatever is not named here everybody may do."""

_LISTED_ONLY: tuple[Act, ...] = ("release limits", "release a judge of marks", "decide on a lot")
"""Nobody does these in a works that lists no people: what is packed must be somebody's word."""


def may(roles: tuple[Role, ...], act: Act) -> bool:
    """Whether somebody with these roles may do this.

    Parameters
    ----------
    roles
        Somebody's.
    act
        What they want to do.

    Returns
    -------
    bool
        Whether the role that it needs is among them.
    """
    return NEEDS[act] in roles


def why_not(works: Works | None, name: str, roles: tuple[Role, ...], act: Act) -> str | None:
    """Why somebody may not do this, in words to show them; None where they may.

    Parameters
    ----------
    works
        None for a store that stands alone.
    name
        The person's.
    roles
        Theirs.
    act
        What they want to do.

    Returns
    -------
    str | None
        A sentence to show; none where they may.
    """
    if works is not None and not works.people and act in _LISTED_ONLY:
        return f"nobody is listed in works.toml; list {name or 'somebody'} there with the role {NEEDS[act]} first"
    if not may(roles, act):
        return f"{name} has not the role {NEEDS[act]}; works.toml gives it"
    return None


def who_acts(works: Works | None, by: str | None, act: Act, why: str | None = None) -> Acted:
    """The person behind a command, once it is sure that they may do what it does.

    Without `by` it is the person whose `account` the command runs under; a person who lists an account acts from it
    alone. A works that lists nobody takes any name for whatever but a release.

    Parameters
    ----------
    works
        None for a store that stands alone.
    by
        A name from works.toml; none: by account.
    act
        What they do.
    why
        Their reason, where they gave one.

    Returns
    -------
    Acted
        Name, how it is known, and the reason.

    Raises
    ------
    Unusable
        Nobody is named, the one named is not listed or acts from another account, or lacks the role.
    """
    account = _account()
    people = () if works is None else works.people
    if not people:
        name = by or account
        against = why_not(works, name, ROLES, act)
        if against is not None:
            raise Unusable("works.toml", "person", f"somebody with the role {NEEDS[act]} to {act}", against)
        return Acted(name, "declared" if by else "account", why or "")
    found = next((one for one in people if one.name == by or (by is None and one.account == account)), None)
    if found is None:
        expected = f"--by NAME, one of {', '.join(one.name for one in people if may(one.roles, act)) or 'nobody yet'}"
        raise Unusable("--by", act, expected, by or f"nobody; the account {account} is no one's in works.toml")
    if found.account is not None and found.account != account:
        raise Unusable("--by", found.name, f"a command from their own account, {found.account}", account)
    against = why_not(works, found.name, found.roles, act)
    if against is not None:
        able = ", ".join(one.name for one in people if may(one.roles, act)) or "nobody yet"
        raise Unusable("--by", act, f"the role {NEEDS[act]}, which has: {able}", against)
    return Acted(found.name, "account" if found.account is not None else "declared", why or "")


def _account() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "an account without a name"
