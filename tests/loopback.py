"""A place for servers of the tests."""

import socket


def free_port() -> int:
    """A port of loopback that nobody listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])
