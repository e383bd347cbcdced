"""A command run from within another as if it had been typed, so that a person sees what to type the next time."""

import click


def call(*words: str) -> None:
    """Run a command of brightbowl; where it ends by itself with an exit code, `SystemExit` says which."""
    from app.cli.commands import cli

    click.echo(f"> brightbowl {' '.join(_typed(word) for word in words)}")
    with cli.make_context("brightbowl", list(words)) as context:
        cli.invoke(context)


def _typed(word: str) -> str:
    return f'"{word}"' if " " in word else word
