"""DEVELOPERS.md draws who enters whose door; this is what it draws."""

import re

from tests.house.test_rooms import ROOMS, ROOT, dotted, imports, modules, room_of


def drawn_now() -> list[str]:
    """A line a room: the rooms whose doors it enters."""
    enters: dict[str, set[str]] = {room: set() for room in ROOMS}
    for path in modules():
        room = room_of(dotted(path))
        if room is not None:
            enters[room] |= {entered for name in imports(path) if (entered := room_of(name)) not in (None, room)}
    return [f"{room:17} -> {', '.join(sorted(enters[room])) or 'nobody'}" for room in ROOMS]


def test_every_arrow_drawn_is_there() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = re.search(r"^Who enters whose door.*?```text\n(.*?)\n```", text, re.MULTILINE | re.DOTALL)
    assert block is not None
    told, now = arrows(re.sub(r"\n {20,}", " ", block[1]).splitlines()), arrows(drawn_now())
    assert told.keys() == now.keys()
    assert not any(told[room] - now[room] for room in told), "draw anew:\n" + "\n".join(drawn_now())


def arrows(lines: list[str]) -> dict[str, set[str]]:
    """What each line draws."""
    pairs = [line.split(" -> ") for line in lines]
    return {room.strip(): set(entered.split(", ")) for room, entered in pairs}
