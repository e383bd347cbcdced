"""What the page's server holds: the store, the works, and the secret that signs passes. Set once, before it serves."""

import os
import secrets
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event
from typing import Literal

from itsdangerous import BadSignature, URLSafeTimedSerializer

from app.pages.die_reports import DieReports
from app.store import Acted, Store
from app.works import ROLES, Person, Role, Works, read_works
from vision.errors import Unusable
from vision.formats import not_written

FIRST_PIECES_S = 1.0  # a page that still has none by then is drawn whole nevertheless
PASS_LASTS_S = 12 * 3600  # a shift and some; a page that is open longer gets a new one by itself


@dataclass(frozen=True, slots=True)
class Pass:
    """Who somebody is to the server's own routes, and what they may do."""

    name: str
    roles: tuple[Role, ...]
    identity: Literal["declared", "login"]

    def acted(self, why: str) -> Acted:
        """What this person does for a reason, to be kept."""
        return Acted(self.name, self.identity, why)


@dataclass(frozen=True, slots=True, eq=False)
class ServerState:
    """The server's own things. `login` says that people sign in; else they pick their name."""

    store: Store
    works: Works | None
    login: bool = False
    secret: str = field(default_factory=lambda: secrets.token_hex(32))
    dies: DieReports = field(default_factory=DieReports)
    _listed: list[tuple[Person, ...]] = field(default_factory=list)
    _awaited: dict[str, Event] = field(default_factory=dict)

    def people(self) -> tuple[Person, ...]:
        """Who may work here, as works.toml says at this moment; without a list, whoever gives a name may do everything.

        While that file can't be read, as in the middle of being edited, those of before.
        """
        if self.works is None:
            return ()
        with suppress(Unusable):
            self._listed[:] = [read_works(self.works.folder).people]
        return self._listed[0] if self._listed else self.works.people

    def person_of(self, email: str) -> Person | None:
        """Who on the works' list has an e-mail address."""
        asked = email.lower()
        return next((one for one in self.people() if one.email is not None and one.email.lower() == asked), None)

    def await_pieces(self, written: str) -> None:
        """Wait until the page that was just given a pass has its first pieces, or a moment: there may be none."""
        self._awaited.setdefault(written, Event()).wait(FIRST_PIECES_S)
        self._awaited.pop(written, None)

    def has_pieces(self, written: str) -> None:
        """A page has its first pieces."""
        if (awaited := self._awaited.get(written)) is not None:
            awaited.set()

    def picture_path(self, kept: str) -> Path:
        """Where a picture lies whose path the store keeps."""
        return self.works.folder / kept if self.works is not None else Path(kept)

    def write_pass(self, one: Pass) -> str:
        """A pass as text that only this server can have written."""
        return self._signer().dumps([one.name, list(one.roles), one.identity])

    def read_pass(self, text: str) -> Pass | None:
        """The pass behind a text; None where it is forged, too old, or another server's."""
        try:
            name, roles, identity = self._signer().loads(text, max_age=PASS_LASTS_S)
        except BadSignature:
            return None
        people = self.people()
        if not people:
            return Pass(name, tuple(role for role in ROLES if role in roles), identity)
        # What works.toml says now: a role taken away ends at once, whatever a page that is open was given.
        now = next((one.roles for one in people if one.name == name), ())
        return Pass(name, now, identity)

    def _signer(self) -> URLSafeTimedSerializer:
        return URLSafeTimedSerializer(self.secret, salt="desk")


def lasting_secret(folder: Path) -> str:
    """The works' own secret, made once and readable by its owner only: passes then outlive a restart of the server.

    Parameters
    ----------
    folder
        The works folder.

    Returns
    -------
    str
        64 hexadecimal digits.

    Raises
    ------
    Unusable
        The folder can't be written.
    """
    file = folder / ".desk-secret"
    try:
        with suppress(FileExistsError), open(file, "x", opener=_private, encoding="ascii") as new:
            new.write(secrets.token_hex(32))
        return file.read_text(encoding="ascii")
    except OSError as fault:
        raise not_written(file, fault) from None


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


_servers: list[ServerState] = []


def set_server(server: ServerState) -> None:
    """Say what this process serves."""
    _servers[:] = [server]


def current_server() -> ServerState:
    """What this process serves."""
    return _servers[0]
