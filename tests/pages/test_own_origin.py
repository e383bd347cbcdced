"""Who may open a WebSocket and who may change something: pages of the very address that is called.

Same origin is scheme, host and port (RFC 6454, section 5); `frame-ancestors`: Content Security Policy Level 3, 6.4.2.
"""

from collections.abc import MutableMapping
from typing import Any

import pytest

from app.pages.own_origin import OwnOrigin, is_own

PAGE = "http://127.0.0.1:8501"


def headers(origin: str | None, host: str | None = "127.0.0.1:8501") -> list[tuple[bytes, bytes]]:
    """Headers of a call."""
    named = (("origin", origin), ("host", host))
    return [(name.encode(), value.encode()) for name, value in named if value is not None]


@pytest.mark.parametrize(
    ("origin", "host", "own"),
    [
        (PAGE, "127.0.0.1:8501", True),
        ("http://127.0.0.1:8502", "127.0.0.1:8501", False),
        ("http://127.0.0.1", "127.0.0.1:8501", False),
        ("http://localhost:8501", "127.0.0.1:8501", False),
        ("https://works.example", "works.example", True),
        ("https://works.example", "works.example:443", True),
        ("http://works.example", "works.example:443", False),
        ("https://WORKS.example", "works.example", True),
        ("http://[::1]:8501", "[::1]:8501", True),
        ("http://works.example.evil.example", "works.example", False),
        ("null", "127.0.0.1:8501", False),
        ("http://127.0.0.1:port", "127.0.0.1:8501", False),
        ("file://", "127.0.0.1:8501", False),
        ("", "", False),
        (None, "127.0.0.1:8501", False),
        (PAGE, None, False),
    ],
)
def test_own_is_host_and_port(origin: str | None, host: str | None, own: bool) -> None:
    assert is_own(headers(origin, host)) is own


def test_two_origins_are_none() -> None:
    assert not is_own([*headers(PAGE), (b"origin", PAGE.encode())])


async def _answers(scope: MutableMapping[str, Any], _receive: Any, send: Any) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
    else:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"yes"})


def said(kind: str, method: str, origin: str | None) -> MutableMapping[str, Any]:
    """The first thing that is answered."""
    sent: list[MutableMapping[str, Any]] = []

    async def keep(message: MutableMapping[str, Any]) -> None:
        sent.append(message)

    async def nothing() -> MutableMapping[str, Any]:
        return {}

    scope = {"type": kind, "method": method, "headers": headers(origin)}
    answering = OwnOrigin(_answers)(scope, nothing, keep)
    with pytest.raises(StopIteration):  # it waits for nothing, and the browser of other tests has a loop here
        answering.send(None)
    return sent[0]


def test_another_page_reads_at_most_and_frames_nothing() -> None:
    for origin in (None, "http://127.0.0.1:9", PAGE):
        read = said("http", "GET", origin)
        assert read["status"] == 200
        assert (b"content-security-policy", b"frame-ancestors 'none'") in read["headers"]
        for method in ("POST", "PUT", "DELETE", "PATCH"):
            assert said("http", method, origin)["status"] == (200 if origin == PAGE else 403)
        assert said("websocket", "", origin)["type"] == ("websocket.accept" if origin == PAGE else "websocket.close")
