"""A door of the page's server: what changes something comes from its own pages alone, and no page stands in another's.

Streamlit lets a page of any port of this machine open its WebSocket; and a name that a browser was given is no proof
that the person at it meant what another page sends.
"""

from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import urlsplit

READING = ("GET", "HEAD", "OPTIONS")
USUAL_PORTS = {"http": 80, "https": 443}
HEADERS = ((b"content-security-policy", b"frame-ancestors 'none'"), (b"x-frame-options", b"DENY"))

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]


class OwnOrigin:
    """Refuses WebSockets and calls other than for reading that do not come from a page of this very address."""

    def __init__(self, app: Application) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one connection."""
        kind = scope["type"]
        asks_only = kind == "http" and scope["method"] in READING
        if kind not in ("http", "websocket"):
            await self.app(scope, receive, send)
        elif asks_only or is_own(scope["headers"]):
            await self.app(scope, receive, _unframed(send))
        elif kind == "websocket":
            await send({"type": "websocket.close", "code": 1008})  # before it is accepted: answered with 403
        else:
            await send({"type": "http.response.start", "status": 403, "headers": [*HEADERS]})
            await send({"type": "http.response.body", "body": b"another page's call is not taken"})


def is_own(headers: list[tuple[bytes, bytes]]) -> bool:
    """Whether a browser says that the page which calls is of the host and port that is called.

    A browser names a page's origin with every WebSocket and every POST; a caller that names none is no page.
    """
    origins = [value for name, value in headers if name == b"origin"]
    hosts = [value for name, value in headers if name == b"host"]
    if len(origins) != 1 or len(hosts) != 1:
        return False
    try:
        page = urlsplit(origins[0].decode("ascii"))
        called = urlsplit(f"//{hosts[0].decode('ascii')}")
        usual = USUAL_PORTS.get(page.scheme)
        same_port = (page.port or usual) == (called.port or usual)
    except ValueError:  # not ASCII, or a port that is no number
        return False
    return usual is not None and bool(page.hostname) and page.hostname == called.hostname and same_port


def _unframed(send: Send) -> Send:
    async def answered(message: MutableMapping[str, Any]) -> None:
        if message["type"] in ("http.response.start", "websocket.http.response.start"):
            message = {**message, "headers": [*message.get("headers", ()), *HEADERS]}
        await send(message)

    return answered
