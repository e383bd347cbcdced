"""Sphinx: MyST pages, and one directive that prints a command's own help, so that it can't go stale."""

import sys
from pathlib import Path

import click
from docutils import nodes
from docutils.parsers.rst import Directive
from sphinx.application import Sphinx

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from app.cli.main import cli

project = "brightbowl"
author = "the brightbowl developers"
extensions = ["myst_parser"]
exclude_patterns = ["_build"]
myst_heading_anchors = 3
html_theme = "alabaster"
html_theme_options = {"description": "spoons measured, judged and traced", "page_width": "1100px"}


class CommandHelp(Directive):
    """What `brightbowl COMMAND --help` prints."""

    required_arguments = 1

    def run(self) -> list[nodes.Node]:
        """One literal block."""
        name = self.arguments[0]
        parent = click.Context(cli, info_name="brightbowl")
        command = cli.get_command(parent, name)
        if command is None:
            raise self.error(f"no command {name!r}")
        text = command.get_help(click.Context(command, info_name=name, parent=parent, terminal_width=100))
        return [nodes.literal_block(text, text, language="text")]


def setup(app: Sphinx) -> None:
    """Register the directive."""
    app.add_directive("command-help", CommandHelp)
