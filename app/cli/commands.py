"""The command `brightbowl`: finds each subcommand only when it is called, so that `--help` stays quick."""

import importlib
import os
import sys
from importlib.metadata import version
from io import TextIOWrapper
from pathlib import Path

import click

from app.run import Stopped, end_now, ended_by_signals
from vision.errors import Unusable
from vision.formats import quiet_libraries

# In the order of work: name -> what `--help` says of it; each module of `app.cli` has a click command named `command`.
COMMANDS: dict[str, str] = {
    "demo": "render a demo lot of an invented works and judge it",
    "begin": "from nothing to a first judged lot, one question at a time",
    "new": "make a works folder: parts, stations, limits, shots, results, store",
    "person": "list somebody of the works, and what they may do",
    "part": "a drawing, or a photograph of a master piece, to part.toml with outline, zones and a picture",
    "calibrate": "pictures of a flat target to a station: lens, plane, scale, uncertainties",
    "sensor": "gain, noise, sharpness and evenness of a station's camera and light, from frames taken for it",
    "limits": "a part's limits: first draft, check, compare, release, go back",
    "shot": "frames as a camera names them, to tray shots with their shot.json",
    "inspect": "judge tray shots: find, measure and score every piece, with reasons",
    "watch": "judge trays as they come: each one once it is complete, filed in the store",
    "check": "a reference piece measured each shift: drift against calibration, pass or stop",
    "challenge": "known bad pieces, or marks planted into a shift's own frames: all must be rejected",
    "serve": "serve the review page on this machine",
    "lot": "what became of a lot; release and hold",
    "correct": "a station's bias, as its checks show it, taken out by a revision with name and reason",
    "hand-over": "verdicts to the line as trays are filed, over MQTT",
    "agree": "camera against people, and people against each other",
    "tune": "sweep one limit or counting rule on a sample lot, and recommend a setting",
    "teach": "the works' own judge of marks, by what its people say of findings",
    "gauge": "repeatability and reproducibility from a table of repeated measurements",
    "bias": "bias over a range and over time against reference pieces, and the gauge against a tolerance",
    "pod": "what scratches and pits a station finds, by planting known ones into its own frames",
    "die": "how dies wear over their strokes, and marks that come back at one place",
    "export": "write verdicts and pieces out of a store as tables",
    "trials": "what trials make of trays, beside what stands",
    "import": "file results in a store",
    "doubts": "what an old store can't tell of its trays, for a person to settle",
    "verify": "whether what was filed still stands as it was: the chain, link by link, and the files",
    "backup": "a works' store and the files that judge, in one file, checked",
    "restore": "a backup back into a works, or on to another database",
    "forget": "frames of passed pieces, by the rule of the works; what was forgotten stays in the chain",
    "disk": "how long a works' disk will do, and what its rule changes in that",
    "render": "render tray shots with exact truth",
}

# Commands whose name can't be a module's.
MODULES = {"import": "import_results"}


class LazyGroup(click.Group):
    """A group whose commands are imported from `app.cli.<name>` when asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of `COMMANDS`."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"app.cli.{MODULES.get(cmd_name, cmd_name.replace('-', '_'))}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table, without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


def _print_version(ctx: click.Context, _param: click.Parameter, value: bool) -> None:
    if value:
        click.echo(f"brightbowl {version('brightbowl')} from {Path(__file__).resolve().parents[2]}")
        ctx.exit(0)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_print_version, help="Version and place."
)
def cli() -> None:
    """Measure, judge and trace spoons photographed on a tray.

    Exit codes: 0 done; 1 part of the work could not be done (each failure is named); 2 the call or a file it needs is
    unusable (nothing was written); 3 done, and the answer is stop.
    """


def run_command(ends_well: bool) -> None:
    """Run the command that was called.

    Parameters
    ----------
    ends_well
        It goes on until it is told to stop: the exit code is then 0.
    """
    quiet_libraries()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # names of files may hold what no encoding does
    try:
        with ended_by_signals(ends_well):
            _run()
    except Stopped as stopped:
        end_now(stopped.number, ends_well)
    except BrokenPipeError:  # whoever read our output has gone
        os._exit(1)


def _run() -> None:
    try:
        code = cli.main(standalone_mode=False)
        # click hands back what `ctx.exit(code)` was given
        sys.exit(code if isinstance(code, int) else 0)
    except Unusable as fault:
        click.echo(f"brightbowl: {fault}", err=True)
        sys.exit(2)
    except click.exceptions.Exit as leave:
        sys.exit(leave.exit_code)
    except click.ClickException as fault:
        fault.show()
        sys.exit(2)
    except click.Abort:
        click.echo("brightbowl: stopped", err=True)
        sys.exit(130)
