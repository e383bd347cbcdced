"""Folders that no watcher should stop at: kinds of poison by name, each of which spoils a good tray's folder."""

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np

Spoil = Callable[[Path], None]


def _said(folder: Path, **changes: Any) -> None:
    table = json.loads((folder / "shot.json").read_text())
    (folder / "shot.json").write_text(json.dumps({**table, **changes}))


def said(**changes: Any) -> Spoil:
    """Another value of some keys of `shot.json`."""
    return lambda folder: _said(folder, **changes)


def raw(key: str, value: str) -> Spoil:
    """A key of `shot.json` with a value as it stands there, JSON or not."""

    def spoil(folder: Path) -> None:
        table = {**json.loads((folder / "shot.json").read_text()), key: "HERE"}
        (folder / "shot.json").write_text(json.dumps(table).replace('"HERE"', value))

    return spoil


def whole(text: bytes) -> Spoil:
    """Another `shot.json` altogether."""
    return lambda folder: (folder / "shot.json").write_bytes(text) and None


def frame(data: bytes | Callable[[bytes], bytes]) -> Spoil:
    """Other bytes in the backlit frame."""

    def spoil(folder: Path) -> None:
        path = folder / "back.png"
        path.write_bytes(data(path.read_bytes()) if callable(data) else data)

    return spoil


def linked(name: str, to: str) -> Spoil:
    """A link in the place of a file."""

    def spoil(folder: Path) -> None:
        (folder / name).unlink(missing_ok=True)
        (folder / name).symlink_to(to)

    return spoil


def piped(name: str) -> Spoil:
    """A pipe, into which nobody writes, in the place of a file."""

    def spoil(folder: Path) -> None:
        (folder / name).unlink()
        os.mkfifo(folder / name)

    return spoil


def renamed(name: bytes) -> Spoil:
    """The folder under another name."""
    return lambda folder: folder.rename(folder.with_name(os.fsdecode(name))) and None


def foldered(name: str) -> Spoil:
    """A folder in the place of a file."""

    def spoil(folder: Path) -> None:
        (folder / name).unlink()
        (folder / name).mkdir()

    return spoil


def picture(pixels: Any, suffix: str = ".png") -> Spoil:
    """Another picture."""
    return frame(cv2.imencode(suffix, pixels)[1].tobytes())


def closed(folder: Path) -> None:
    """Nobody may read it; to root nothing is closed, so it is a file of the kernel's that none may read instead."""
    (folder / "back.png").unlink()
    if os.geteuid() == 0:
        (folder / "back.png").symlink_to("/proc/self/mem")
    else:
        (folder / "shot.json").chmod(0)


def _frames(*files: dict[str, Any]) -> list[dict[str, Any]]:
    return [{"file": "back.png", "light": "back"}, *files]


DEEP = "[" * 9_000 + "]" * 9_000
KINDS: dict[str, Spoil] = {
    "no UTF-8 in the name": renamed(b"bad-\xff\xfe"),
    "a control character and no UTF-8": renamed(b"bad-\x1b[2J\xf0"),
    "frame links to itself": linked("back.png", "back.png"),
    "shot.json links to itself": linked("shot.json", "shot.json"),
    "frame links out": linked("back.png", "/etc/hostname"),
    "frame is an endless device": linked("back.png", "/dev/zero"),
    "shot.json is an endless device": linked("shot.json", "/dev/zero"),
    "frame may not be read": closed,
    "frame is a pipe": piped("back.png"),
    "shot.json is a pipe": piped("shot.json"),
    "frame is a folder": foldered("back.png"),
    "shot.json is a folder": foldered("shot.json"),
    "10^400": raw("process", '{"strokes": 1' + "0" * 400 + "}"),
    "2^63": raw("process", '{"strokes": 9223372036854775808}'),
    "2^64 in a list": raw("frames", "[18446744073709551616]"),
    "5,000 digits": raw("process", '{"strokes": ' + "9" * 5000 + "}"),
    "1e400": raw("process", '{"strokes": 1e400}'),
    "NaN": raw("process", '{"strokes": NaN}'),
    "1e300": raw("process", '{"strokes": 1e300}'),
    "NUL in a text": raw("process", '{"note": "a\\u0000b"}'),
    "NUL in a key": raw("process", '{"a\\u0000b": 1}'),
    "NUL in the lot": raw("lot", '"a\\u0000b"'),
    "lone surrogate": raw("process", '{"note": "a\\ud800b"}'),
    "lone surrogate in the tray": raw("tray", '"T-\\udfff"'),
    "control character in the lot": said(lot="L\x1b[31m"),
    "deeply nested": raw("process", DEEP),
    "nested keys": raw("process", '{"a":' * 4000 + "1" + "}" * 4000),
    "a key very often": raw("process", "{" + ",".join(f'"k{n}":[]' for n in range(20_000)) + "}"),
    "a long text": said(process={"note": "x" * 100_000}),
    "tray over 255 bytes": said(tray="匙" * 90),
    "tray of dots": said(tray=".."),
    "tray with a slash": said(tray="a/../b"),
    "part over 255 bytes": said(part="ö" * 140),
    "part leads out": said(part="../parts"),
    "station over 255 bytes": said(station="ö" * 140),
    "station leads out": said(station="../../x"),
    "unknown part": said(part="XX-1"),
    "unknown station": said(station="ST-9"),
    "frame over 255 bytes": said(frames=[{"file": "ö" * 140, "light": "back"}]),
    "frame absolute": said(frames=[{"file": "/etc/hostname", "light": "back"}]),
    "frame above": said(frames=[{"file": "../T-000/back.png", "light": "back"}]),
    "frame without name": said(frames=[{"file": "", "light": "back"}]),
    "frame twice": said(frames=_frames({"file": "back.png", "light": "dome"})),
    "ten thousand frames": said(
        frames=[{"file": f"{n}.png", "light": "low", "azimuth_deg": 1.0} for n in range(10_000)]
    ),
    "no frames": said(frames=[]),
    "no format": said(format=None),
    "format 2": said(format=2),
    "no time": said(taken_at="yesterday"),
    "year 0": said(taken_at="0000-00-00T00:00:00"),
    "a key too many": said(colour="red"),
    "empty shot.json": whole(b""),
    "half a shot.json": lambda folder: os.truncate(folder / "shot.json", 60),
    "no text": whole(b"\xff\xfe\x00{"),
    "a list": whole(b"[]"),
    "an endless shot.json": lambda folder: os.truncate(folder / "shot.json", 1 << 36),
    "frame cut": frame(lambda data: data[: len(data) // 2]),
    "frame empty": frame(b""),
    "frame is text": frame(b"PNG"),
    "frame flipped": frame(lambda data: data[:3000] + bytes([data[3000] ^ 4]) + data[3001:]),
    "frame of 4 gigapixels": frame(lambda data: data[:16] + b"\x00\x01\x00\x00" * 2 + data[24:29] + data[29:]),
    "frame transparent": picture(np.zeros((272, 755, 4), np.uint8)),
    "frame of floats": picture(np.zeros((272, 755), np.float32), ".tiff"),
    "frame a JPEG": picture(np.zeros((272, 755), np.uint8), ".jpg"),
    "wrong digest": said(frames=[{"file": "back.png", "light": "back", "sha256": "0" * 64}]),
}
"""Kinds of poison; what each does leaves a folder that must be set aside with its reason."""


def loop(inbox: Path) -> None:
    """What is no tray's fault and none's folder: links that lead back, folders nested out of reach."""
    (inbox / "back-again").symlink_to("back-again")
    (inbox / ".hidden").mkdir()
    deep = inbox / "deep"
    deep.mkdir()
    (deep / "up").symlink_to("..")
    for _ in range(60):
        deep /= "d"
        deep.mkdir()
