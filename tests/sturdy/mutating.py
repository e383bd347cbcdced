"""Mutations of files: of their bytes, of their lines, numbers and words, and of what a format's own sums hold."""

import random
import re
import struct
import zlib
from collections.abc import Callable, Sequence

Mutation = Callable[[bytes, random.Random], bytes]

NUMBERS = (
    *("0", "-0.0", "-1", "1e-7", "5e-7", "5e-324", "1e12", "1e300", "1e308", "-1e308", "1e400", "-1e400"),
    *("nan", "NaN", "inf", "Infinity", str(2**31), str(2**53 + 1), str(2**63), str(2**64), str(10**400)),
    *("9" * 5000, "1" + "0" * 5000, "0." + "0" * 3000 + "1", "0x10", "1_000", "1e", ".", "+5", "007", "1,5"),
)
WORDS = (
    *("", " ", "\\u0000", "\\ud800", "\\udfff\\ud800", "\x00", "\x1b[2J", "..", "../../etc", "/dev/zero", "a/b", "\\"),
    *(
        "x" * 300,
        "ö" * 140,
        "y" * 70_000,
        "=1+1",
        "@SUM",
        "null",
        "true",
        "TS-136",
        "\ufeff",
        "\u202e",
        "名",
        "\n",
        "\r",
    ),
)
_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
_WORD = re.compile(rb'"([^"\n]{0,200})"')


def _cut(chance: random.Random, data: bytes, longest: int = 200) -> tuple[int, int]:
    start = chance.randrange(len(data) + 1)
    return start, min(len(data), start + chance.randint(1, longest))


def flip(data: bytes, chance: random.Random) -> bytes:
    """One bit, or a few."""
    made = bytearray(data)
    for _ in range(chance.choice((1, 1, 1, 2, 8))):
        if made:
            made[chance.randrange(len(made))] ^= 1 << chance.randrange(8)
    return bytes(made)


def truncate(data: bytes, chance: random.Random) -> bytes:
    """Its end missing."""
    return data[: chance.randrange(len(data) + 1)]


def drop(data: bytes, chance: random.Random) -> bytes:
    """A stretch missing."""
    start, end = _cut(chance, data)
    return data[:start] + data[end:]


def repeat(data: bytes, chance: random.Random) -> bytes:
    """A stretch twice, or very often."""
    start, end = _cut(chance, data)
    return data[:end] + data[start:end] * chance.choice((1, 1, 2, 500)) + data[end:]


def insert(data: bytes, chance: random.Random) -> bytes:
    """Bytes that belong to nothing."""
    start, _ = _cut(chance, data)
    return data[:start] + chance.randbytes(chance.choice((1, 4, 100))) + data[start:]


def blank(data: bytes, chance: random.Random) -> bytes:
    """A stretch of zeros, as a disk leaves it after a power cut."""
    start, end = _cut(chance, data, 4096)
    return data[:start] + bytes(end - start) + data[end:]


def shuffle(data: bytes, chance: random.Random) -> bytes:
    """Two stretches in each other's place."""
    (a, b), (c, d) = sorted((_cut(chance, data), _cut(chance, data)))
    b, c = min(b, c), max(b, c)
    return data[:a] + data[c:d] + data[b:c] + data[a:b] + data[d:]


def number(data: bytes, chance: random.Random) -> bytes:
    """Another number in the place of one."""
    return _replaced(data, list(_NUMBER.finditer(data)), 0, chance.choice(NUMBERS), chance)


def word(data: bytes, chance: random.Random) -> bytes:
    """Other text in the place of one in quotes."""
    return _replaced(data, list(_WORD.finditer(data)), 1, chance.choice(WORDS), chance)


def kind(data: bytes, chance: random.Random) -> bytes:
    """A value of another kind."""
    values = ("null", "true", "[]", "{}", '"text"', "[[[1]]]", "[" * 3000 + "]" * 3000, '{"a":' * 200 + "1" + "}" * 200)
    found = [*_NUMBER.finditer(data), *_WORD.finditer(data)]
    return _replaced(data, found, 0, chance.choice(values), chance)


def lines(data: bytes, chance: random.Random) -> bytes:
    """A line gone, twice, elsewhere, or a thousand times."""
    rows = data.split(b"\n")
    at, to = chance.randrange(len(rows)), chance.randrange(len(rows))
    how = chance.randrange(4)
    if how == 0:
        del rows[at]
    elif how == 1:
        rows.insert(to, rows[at])
    elif how == 2:
        rows[at], rows[to] = rows[to], rows[at]
    else:
        rows[at:at] = [rows[at]] * 1000
    return b"\n".join(rows)


def recoded(data: bytes, chance: random.Random) -> bytes:
    """Another encoding, ends of lines, or a mark before it."""
    text = data.decode("utf-8", "replace")
    return chance.choice(
        (
            lambda: text.encode("utf-16"),
            lambda: text.encode("utf-32", "replace"),
            lambda: text.encode("latin-1", "replace") + b"\xe9",
            lambda: b"\xef\xbb\xbf" + data,
            lambda: b"\xef\xbb\xbf\xef\xbb\xbf" + data,
            lambda: data.replace(b"\n", b"\r"),
            lambda: data.replace(b"\n", b"\r\n"),
        )
    )()


def sums_mended(data: bytes, chance: random.Random) -> bytes:
    """A PNG with something else in one of its chunks, and the chunk's sum made to hold again."""
    chunks, at = [], 8
    while at + 12 <= len(data):
        (size,) = struct.unpack_from(">I", data, at)
        chunks.append((data[at + 4 : at + 8], data[at + 8 : at + 8 + size]))
        at += size + 12
    if not chunks:
        return data
    place = chance.randrange(len(chunks))
    name, body = chunks[place]
    changed = chance.choice((flip, truncate, drop, insert, blank, repeat))(body, chance)
    chunks[place] = (name if chance.random() < 0.9 else chance.randbytes(4), changed)
    if chance.random() < 0.2:
        chunks.insert(chance.randrange(len(chunks)), chance.choice(chunks))
    return data[:8] + b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body)) for name, body in chunks
    )


def _replaced(data: bytes, found: Sequence[re.Match[bytes]], group: int, by: str, chance: random.Random) -> bytes:
    if not found:
        return flip(data, chance)
    one = chance.choice(found)
    start, end = one.span(group)
    return data[:start] + by.encode("utf-8", "surrogatepass") + data[end:]


DAMAGE: tuple[Mutation, ...] = (flip, truncate, drop, repeat, insert, blank, shuffle)
"""What disks, wires and crashes do."""
TEXT: tuple[Mutation, ...] = (*DAMAGE, *[number] * 8, *[word] * 5, *[kind] * 3, *[lines] * 3, recoded)
"""And what people and programs write: mostly what is still text, so that it comes as far as the format's own rules."""


def mutated(data: bytes, by: Sequence[Mutation], chance: random.Random) -> bytes:
    """One mutation mostly, sometimes several."""
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        data = chance.choice(by)(data, chance)
    return data
