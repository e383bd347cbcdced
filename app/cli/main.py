"""Where the program begins: signals first, so that it ends well even while it loads; then the command."""

import os
import signal
import sys
from types import FrameType

# Commands that go on until they are told to stop, which is then no failure.
_UNTIL_TOLD = ("watch", "serve", "hand-over")


def main() -> None:
    """Run the command; what a person must read goes to stderr as one line."""
    ends_well = sys.argv[1:2] != [] and sys.argv[1] in _UNTIL_TOLD

    def at_once(number: int, _frame: FrameType | None) -> None:
        if not ends_well:
            os.write(2, b"brightbowl: stopped\n")
        os._exit(0 if ends_well else 128 + number)

    before = {number: signal.signal(number, at_once) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        from app.cli.commands import run_command

        run_command(ends_well)
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
