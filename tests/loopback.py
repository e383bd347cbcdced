"""A place for servers of the tests."""

import random
import socket
from contextlib import suppress

BELOW_CALLERS = (20_000, 32_000)  # systems give callers ports from 32768 on: one given out since is not taken by a call


def free_port() -> int:
    """A port of loopback that nobody listens on."""
    chance = random.Random()
    while True:
        port = chance.randint(*BELOW_CALLERS)
        with suppress(OSError), socket.socket() as free:
            free.bind(("127.0.0.1", port))
            return port
