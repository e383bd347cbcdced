"""Sphinx: MyST pages; directives that print a command's own help and run a page's code, so that neither goes stale.

Pages of what each room of `vision` offers are made from its door.
"""

import ast
import contextlib
import shutil
import sys
import tempfile
from pathlib import Path

import click
from docutils import nodes
from docutils.parsers.rst import Directive
from sphinx.application import Sphinx
from sphinx.config import Config
from sphinx.util.docutils import SphinxDirective

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from app.cli.commands import cli
from app.report import GLOSSARY
from docs.run_blocks import run_blocks
from synthetic_images import PATTERNS, Order, render_shots

project = "brightbowl"
author = "the brightbowl developers"
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
napoleon_google_docstring = False
autodoc_typehints = "none"
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


class Glossary(Directive):
    """The words that pages and reports share."""

    def run(self) -> list[nodes.Node]:
        """A list of terms with their meanings."""
        told = nodes.definition_list()
        for word, meaning in GLOSSARY:
            told += nodes.definition_list_item(
                "", nodes.term("", word), nodes.definition("", nodes.paragraph("", meaning))
            )
        return [told]


class Run(SphinxDirective):
    """Code that is run, in a folder with one rendered tray: the code, what it prints, and the pictures it makes.

    The blocks of a page share their names, as in a notebook.
    """

    has_content = True

    def run(self) -> list[nodes.Node]:
        """The code and what came of it."""
        code = "\n".join(self.content)
        names = self.env.temp_data.setdefault("run_names", {"__name__": "example"})
        with contextlib.chdir(_folder()):
            (ran,) = run_blocks([code], names)
        told: list[nodes.Node] = [nodes.literal_block(code, code, language="python")]
        if ran.printed:
            told.append(nodes.literal_block(ran.printed, ran.printed, language="text"))
        for picture in ran.pictures:
            made = f"{self.env.docname}-{picture.name}"
            shutil.copy(picture, MADE / made)
            told.append(nodes.image(uri=f"{MADE.name}/{made}", alt="made by the code above", width="100%"))
        return told


def _folder() -> Path:
    """A folder as after `brightbowl render --out demo`, made once a build."""
    if not _FOLDER:
        folder = tempfile.TemporaryDirectory()
        list(render_shots(Path(folder.name) / "demo", Order("plain", PATTERNS["TS-135"], 1, 2611, "png")))
        _FOLDER.append(folder)
    return Path(_FOLDER[0].name)


_FOLDER: list[tempfile.TemporaryDirectory[str]] = []
MADE = Path(__file__).parent / "_made"


def make_doors(_app: Sphinx, _config: Config) -> None:
    """A page for each room of `vision`: every function and class that its door offers."""
    MADE.mkdir(exist_ok=True)
    root = MADE.parents[1]
    for stub in sorted((root / "vision").glob("*/__init__.pyi")):
        room = f"vision.{stub.parent.name}"
        lines = [room, "=" * len(room), "", ast.get_docstring(ast.parse(stub.with_suffix(".py").read_text())) or "", ""]
        for node in ast.parse(stub.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ImportFrom):
                source = (stub.parent / f"{(node.module or '').replace('.', '/')}.py").read_text(encoding="utf-8")
                kinds = {one.name: type(one) for one in ast.parse(source).body if hasattr(one, "name")}
                for alias in node.names:
                    kind = {ast.FunctionDef: "autofunction", ast.ClassDef: "autoclass"}.get(kinds.get(alias.name))
                    if kind is not None:
                        lines += [f".. {kind}:: {room}.{alias.name}", ""]
                        lines[-1:] = ["   :members:", ""] if kind == "autoclass" else [""]
        page = "\n".join(lines)
        path = MADE / f"{room}.rst"
        if not path.exists() or path.read_text(encoding="utf-8") != page:
            path.write_text(page, encoding="utf-8")


def setup(app: Sphinx) -> None:
    """Register the directives, and make the pages of the rooms before any is read."""
    app.add_directive("command-help", CommandHelp)
    app.add_directive("glossary-words", Glossary)
    app.add_directive("run", Run)
    app.connect("config-inited", make_doors)
