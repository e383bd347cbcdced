"""DEVELOPERS.md draws who enters whose door; this is what it draws."""

import re

from tests.house.test_rooms import ROOMS, ROOT, dotted, imports, modules, room_of


def drawn_now() -> list[str]:
    """A line a room: what it is entered by, and which rooms it enters."""
    enters: dict[str, set[str]] = {room: set() for room in ROOMS}
    for path in modules():
        room = room_of(dotted(path))
        if room is not None:
            enters[room] |= {entered for name in imports(path) if (entered := room_of(name)) not in (None, room)}
    return [f"{room:17} -> {', '.join(sorted(enters[room])) or 'nobody'}" for room in ROOMS]


def test_doors_are_drawn_as_they_are_used() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = re.search(r"^Who enters whose door.*?```text\n(.*?)\n```", text, re.MULTILINE | re.DOTALL)
    assert block is not None
    told = re.sub(r"\n {20,}", " ", block[1]).splitlines()
    assert told == drawn_now(), "draw anew:\n" + "\n".join(drawn_now())
