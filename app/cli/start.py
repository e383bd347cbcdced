"""The program's first lines: from here to its very end Ctrl+C and SIGTERM are held."""

from app.cli.main import hold_signals, main as main

hold_signals()
