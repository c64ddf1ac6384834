"""The command line: parse, call, print. One file for each command, imported when asked for."""

from __future__ import annotations

import contextlib
import difflib
import errno
import importlib
import os
import sys
from typing import Any

import click

from stationsim import __version__
from stationsim.errors import InputError, StationSimError

COMMANDS = {
    "run": ("stationsim.cli.run:run", "Run a scenario; write tables, plots and sentences."),
    "show": ("stationsim.cli.show:show", "Show the station of a scenario before any run."),
    "rehearse": (
        "stationsim.cli.rehearse:rehearse",
        "Minutes to the alarm and to the spill, by hour or from now.",
    ),
    "drill": (
        "stationsim.cli.drill.command:drill",
        "Go through what happens, with what you would see, and say what is done.",
    ),
    "why": ("stationsim.cli.why:why", "Ask why a pump did, or did not, run at a moment."),
    "compare": ("stationsim.cli.compare:compare", "Lay settings side by side, on the same inflow."),
    "check": (
        "stationsim.cli.check:check",
        "Judge a station by criteria: value, limit, margin, source.",
    ),
    "acceptance": (
        "stationsim.cli.acceptance:acceptance",
        "Expected readings for the day of acceptance, and a verdict on those taken.",
    ),
    "new": ("stationsim.cli.new:new", "Write a commented starter scenario."),
    "schema": ("stationsim.cli.schema:schema", "Print the JSON Schema of a scenario."),
    "explain": ("stationsim.cli.explain:explain", "Explain a word or a key of a scenario."),
}
"""Commands: name -> where it stands, and what it does in one line."""


class Commands(click.Group):
    """The group of commands: imports each when it is needed, and says errors in plain words."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands, in the order in which people need them."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        module, _, attribute = COMMANDS[cmd_name][0].partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; of one that is misspelt, name the nearest."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], COMMANDS, 1)
            hint = f" Did you mean '{near[0]}'?" if near else f" There are {', '.join(COMMANDS)}."
            ctx.fail(f"No such command '{args[0]}'.{hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing any of them."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run a command line; when what it prints cannot be written, say so and end with 1."""
        try:
            return super().main(*args, **kwargs)
        except OSError as error:
            if error.errno == errno.EPIPE or error.filename is not None:
                raise  # click's own business, or none of the output
            with contextlib.suppress(OSError):
                reason = error.strerror or str(error)
                click.echo(f"error: the output cannot be written: {reason}", err=True)
            _drop_output()
            sys.exit(1)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; what is wrong with the input is one message and exit code 2."""
        try:
            return super().invoke(ctx)
        except InputError as error:
            _tell(error)
            ctx.exit(2)
        except StationSimError as error:
            _tell(error)
            ctx.exit(1)
        except KeyboardInterrupt:
            click.echo("stopped", err=True)
            ctx.exit(1)


def _drop_output() -> None:
    """Let what still waits to be printed go nowhere, or Python would try, and fail, once more."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


def _tell(error: Exception) -> None:
    lines = str(error).splitlines() or [type(error).__name__]
    for line in lines:
        click.echo(f"error: {line}", err=True)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="stationsim", message="%(prog)s %(version)s")
def main() -> None:
    """Rehearse a wastewater lift station: levels, pumps that share the work, outages, spills.

    A planning and teaching tool. It never controls equipment; what it says defers to local codes
    and licensed practice.

    \b
    Begin with:
        stationsim new my-station.toml
        stationsim run my-station.toml
    """  # noqa: D301 - \b is click's mark
