"""People put into works.toml by command: a line more, everything else in that file left as it is."""

import tomlkit

from app.works.folder import WORKS_FILE, Person, Works, read_works
from vision.errors import Unusable
from vision.formats import write_atomic


def add_person(works: Works, person: Person) -> Works:
    """List somebody, or give one who is listed these roles; the works as it then is.

    Parameters
    ----------
    works
        The works.
    person
        With their roles.

    Returns
    -------
    Works
        The works, as its file then says.

    Raises
    ------
    Unusable
        The file can't be read or written, or two people would share a name, an address or an account.
    """
    path = works.folder / WORKS_FILE
    before = path.read_text(encoding="utf-8")
    file = tomlkit.parse(before)
    listed = file.setdefault("person", tomlkit.aot())
    table = next((one for one in listed if one["name"] == person.name), None)
    if table is None:
        table = tomlkit.table()
        table["name"] = person.name
        listed.append(table)
    table["roles"] = list(person.roles)
    for key, value in (("email", person.email), ("account", person.account)):
        if value is not None:
            table[key] = value
    write_atomic(path, tomlkit.dumps(file))
    try:
        return read_works(works.folder)
    except Unusable:
        write_atomic(path, before)
        raise
