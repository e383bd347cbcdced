"""Where the program begins: signals first, so that it ends well even while it loads; then the command."""

# What `signal` stands on: that would load others before any signal is held.
import _signal as signal  # type: ignore[import-not-found]
import os
import sys

# Commands that go on until they are told to stop, which is then no failure.
_UNTIL_TOLD = ("watch", "serve", "hand-over")


def hold_signals() -> dict[int, object]:
    """Have Ctrl+C and SIGTERM end the process at once, with one line; what they did before."""
    return {number: signal.signal(number, _at_once) for number in (signal.SIGINT, signal.SIGTERM)}


def _ends_well() -> bool:
    return sys.argv[1:2] != [] and sys.argv[1] in _UNTIL_TOLD


def _at_once(number: int, _frame: object) -> None:
    ends_well = _ends_well()
    if not ends_well:
        os.write(2, b"brightbowl: stopped\n")
    os._exit(0 if ends_well else 128 + number)


def main() -> None:
    """Run the command; what a person must read goes to stderr as one line."""
    before = hold_signals()
    try:
        from app.cli.commands import run_command

        run_command(_ends_well())
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
