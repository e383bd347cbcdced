"""Help in one style, in the order of work, and as short as people type it."""

import re
from pathlib import Path

import click
import pytest

from app.cli.commands import COMMANDS, cli
from tests.shell import Run

ROOT = Path(__file__).resolve().parents[2]
# A sentence, or what begins with a file's name or an address as it is written.
SENTENCE = re.compile(r"([A-Z]|part\.toml|station\.toml|limits\.toml|verdicts\.csv|mqtt://).*\.", re.DOTALL)


def options() -> list[tuple[str, click.Option]]:
    found = []

    def collect(name: str, command: click.Command) -> None:
        found.extend((name, one) for one in command.params if isinstance(one, click.Option))
        if isinstance(command, click.Group):
            for inner, one in command.commands.items():
                collect(f"{name} {inner}", one)

    context = click.Context(cli)
    for name in COMMANDS:
        command = cli.get_command(context, name)
        assert command is not None
        collect(name, command)
    return found


def test_every_options_help_is_a_sentence() -> None:
    told = [(name, one.opts[0], one.help) for name, one in options() if one.help is not None]
    assert [one for one in told if not SENTENCE.fullmatch(one[2] or "")] == []


def test_commands_are_told_in_one_order() -> None:
    headings = re.findall(r"^## (\S+)$", (ROOT / "docs" / "commands.md").read_text("utf-8"), re.MULTILINE)
    assert headings == list(COMMANDS)
    assert all(words[0].islower() and not words.endswith(".") for words in COMMANDS.values())


@pytest.mark.parametrize("words", [["-h"], ["calibrate", "-h"], ["limits", "draft", "-h"]])
def test_help_is_short_to_ask_for(words: list[str], run: Run) -> None:
    code, said, _ = run(*words)
    assert code == 0
    assert "Usage: " in said
