"""A works folder: one place for parts, stations, limits, shots, results, the store and the list of people.

`works.toml` names the works, its store and its people; the other names are fixed: `parts/NAME/part.toml`,
`stations/NAME.toml`, `limits/NAME.toml`, `shots/`, `results/`, `checks/`.
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated
from urllib.parse import quote

from pydantic import Field

from app.store import Store, open_store
from app.works.roles import Role
from vision.errors import Unusable
from vision.formats import FormatOne, Strict, Text, as_text_name, reached, read_station, read_toml, write_atomic
from vision.records import Station

WORKS_FILE = "works.toml"
SHOTS_USE = ".shots-use"  # locked by whoever judges shots or forgets some; there from the beginning
FOLDERS = ("parts", "stations", "limits", "judges", "shots", "results", "checks")


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody of the works: what they may do.

    `email` is by what a sign-in knows them, `account` by what a machine does.
    """

    name: str
    roles: tuple[Role, ...]
    email: str | None
    account: str | None = None


@dataclass(frozen=True, slots=True)
class Keep:
    """How long frames that show passed pieces alone are kept: so many days, a share of their shots for ever."""

    passed_days: float
    share: float

    @property
    def words(self) -> str:
        """The rule as it is kept with what was forgotten by it."""
        return f"passed_days = {self.passed_days:g}, share = {self.share:g}"


@dataclass(frozen=True, slots=True)
class Works:
    """A works folder; `store_address` is a file in it or a database's URL; `keep` None keeps all frames for ever.

    `challenge_hours`: a lot is released only where its stations passed a challenge within so many hours; None: always.
    """

    folder: Path
    name: str
    store_address: str
    people: tuple[Person, ...]
    keep: Keep | None = None
    challenge_hours: float | None = None

    def part_file(self, part: str) -> Path:
        """Where a part's description lies."""
        return self._inside("parts", part) / "part.toml"

    def station_file(self, station: str) -> Path:
        """Where a station's calibration lies."""
        return self._inside("stations", f"{station}.toml")

    def limits_file(self, part: str) -> Path:
        """Where a part's limits in force lie."""
        return self._inside("limits", f"{part}.toml")

    def judge_file(self, part: str) -> Path:
        """Where the works' own judge of marks for a part lies, once one was released."""
        return self._inside("judges", f"{part}.toml")

    def judge_draft(self, part: str) -> Path:
        """Where the draft of such a judge lies until somebody releases it; its report lies beside it."""
        return self._inside("judges", f"{part}.draft.toml")

    def stations(self) -> Iterator[Station]:
        """The works' stations, by their files' names; each is read when it is asked for.

        Raises
        ------
        Unusable
            One can't be read.
        """
        for file in sorted((self.folder / "stations").glob("*.toml")):
            yield read_station(file)

    def checks_file(self, station: str) -> Path:
        """Where the checks of a station are written down."""
        return self._inside("checks", f"{station}.jsonl")

    @property
    def shots(self) -> Path:
        """Where tray shots arrive."""
        return self.folder / "shots"

    @property
    def results(self) -> Path:
        """Where results are written."""
        return self.folder / "results"

    @property
    def trials(self) -> Path:
        """Where results of trials are written, which no lot counts."""
        return self.folder / "trials"

    def archive_file(self, lot: str, part: str) -> Path:
        """Where a sealed lot of a part is archived; whatever a lot is called, it is one file's name."""
        return self.folder / "archive" / f"{quote(lot, safe=' ')}.{quote(part, safe=' ')}.parquet"

    def open(self, walk: bool = True) -> Store:
        """Open the works' store.

        Raises
        ------
        Unusable
            As `open_store`.
        """
        if "://" in self.store_address:
            return open_store(self.store_address, walk=walk)
        return open_store(self.folder / self.store_address, walk=walk)

    def _inside(self, kind: str, name: str) -> Path:
        """A file or folder of that kind by its plain name; a name that leads elsewhere is refused."""
        root = (self.folder / kind).resolve()
        path = (root / name).resolve()
        if path.parent != root:
            raise Unusable(self.folder / kind, "", "expected a plain name of a part or station, without slashes", name)
        return path


class _PersonTable(Strict):
    name: Text
    roles: Annotated[list[Role], Field(min_length=1)]
    email: Text | None = None
    account: Text | None = None


class _KeepTable(Strict):
    passed_days: Annotated[float, Field(ge=1)]
    share: Annotated[float, Field(ge=0, le=1)]


class _ReleaseTable(Strict):
    challenge_hours: Annotated[float, Field(gt=0)]


class _WorksFile(Strict):
    format: FormatOne
    name: Text
    store: Text = "store.sqlite"
    keep: _KeepTable | None = None
    release: _ReleaseTable | None = None
    person: list[_PersonTable] = Field(default_factory=list)


def read_works(folder: Path) -> Works:
    """Read a works folder.

    Parameters
    ----------
    folder
        With a `works.toml`.

    Returns
    -------
    Works
        The works as its file says.

    Raises
    ------
    Unusable
        It has no `works.toml`, or that file is wrong; two people have the same name, e-mail address or account.
    """
    path = folder / WORKS_FILE
    as_text_name(folder.resolve())
    with reached(path):
        there = path.is_file()
    if not there:
        raise Unusable(folder, "", "expected a works folder; make one with `brightbowl new WORKS`", f"no {WORKS_FILE}")
    file = read_toml(path, _WorksFile)
    _write_as_open_as(folder)
    people = tuple(Person(one.name, tuple(dict.fromkeys(one.roles)), one.email, one.account) for one in file.person)
    names = [one.name for one in people]
    emails = [one.email.lower() for one in people if one.email is not None]
    accounts = [one.account for one in people if one.account is not None]
    for key, values in (("name", names), ("email", emails), ("account", accounts)):
        twice = next((one for one in values if values.count(one) > 1), None)
        if twice is not None:
            raise Unusable(path, f"person.{key}", "expected each person once", twice)
    keep = None if file.keep is None else Keep(file.keep.passed_days, file.keep.share)
    hours = None if file.release is None else file.release.challenge_hours
    return Works(folder.resolve(), file.name, file.store, people, keep, hours)


def _write_as_open_as(folder: Path) -> None:
    """Have whatever this process writes from here on be as open as the works folder is: not to others, if that is not.

    The process's own way of the system's to say so, since libraries write there too, the database first.
    """
    rights = folder.stat().st_mode
    if not rights & 0o007:
        os.umask(0o007 if rights & 0o070 else 0o077)


def new_works(folder: Path, name: str, people: tuple[Person, ...] = ()) -> Works:
    """Make a works folder with an empty store.

    Parameters
    ----------
    folder
        New or empty.
    name
        The works' own.
    people
        Who may act in it, with their roles.

    Returns
    -------
    Works
        The works, its store open to nobody yet.

    Raises
    ------
    Unusable
        The folder holds something already, or can't be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise Unusable(folder, "", "expected a new or empty folder, so that nothing is overwritten")
    os.umask(0o007)
    try:
        for kind in FOLDERS:
            (folder / kind).mkdir(parents=True, exist_ok=True)
        (folder / SHOTS_USE).touch()
    except OSError as fault:
        raise Unusable(folder, "", "expected a place where a folder can be made", fault.strerror or "") from fault
    write_atomic(folder / WORKS_FILE, _works_toml(name, people))
    works = read_works(folder)
    works.open().close()
    return works


def _works_toml(name: str, people: tuple[Person, ...]) -> str:
    import tomlkit

    file = tomlkit.document()
    file.add(tomlkit.comment("The works, its store (a file here, or postgresql://user@host/name) and its people."))
    file.add("format", tomlkit.item(1))
    file.add("name", tomlkit.item(name))
    file.add("store", tomlkit.item("store.sqlite"))
    listed = tomlkit.aot()
    for person in people:
        table = tomlkit.table()
        table.add("name", person.name)
        table.add("roles", list(person.roles))
        for key, value in (("email", person.email), ("account", person.account)):
            if value is not None:
                table.add(key, value)
        listed.append(table)
    if people:
        file.add("person", listed)
    else:
        file.add(tomlkit.nl())
        for line in ("[[person]]", 'name = "R. Hale"', 'roles = ["review"]    # review, tune, release, read'):
            file.add(tomlkit.comment(line))
    return tomlkit.dumps(file)
