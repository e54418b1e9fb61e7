"""The command line: one thin module per command. Each parses, calls, prints.

A command's module is loaded when the command is asked for, so that none waits for the others.
"""

import gc
import sys
from collections.abc import Mapping
from importlib import import_module
from typing import cast

import typer
from typer.core import TyperCommand, TyperGroup

COMMANDS: Mapping[str, str] = {  # command -> module:function, in the order of --help
    "demo": "demo:demo",
    "talk": "talk:talk",
    "month": "month:month",
    "plan": "plan:plan",
    "import": "enrol:import_schedule",
    "read": "read:read",
    "check": "check:check",
    "pictures": "pictures:pictures",
    "review-sheet": "review_sheet:sheet",
    "publish": "versions:publish",
    "versions": "versions:versions",
    "serve": "serve:serve",
    "accounts": "accounts:accounts",
    "doctor": "doctor:doctor",
    "simulate": "simulate:simulate_command",
    "backup": "backup:backup",
    "restore": "backup:restore",
    "copy-store": "backup:copy_store",
}


class Commands(TyperGroup):
    """The commands of COMMANDS, each loaded when it is needed."""

    def list_commands(self, ctx: object) -> list[str]:
        """All names, without loading anything."""
        return list(COMMANDS)

    def get_command(self, ctx: object, cmd_name: str) -> TyperCommand | TyperGroup | None:
        """Load one command; None for a name that there is not."""
        if cmd_name not in COMMANDS:
            return None
        module, _, name = COMMANDS[cmd_name].partition(":")
        found = getattr(import_module(f"bot.cli.{module}"), name)
        if not isinstance(found, typer.Typer):
            alone = typer.Typer(rich_markup_mode="markdown", pretty_exceptions_enable=False)
            alone.command(cmd_name)(found)
            found = alone
        command = cast(TyperCommand | TyperGroup, typer.main.get_command(found))
        command.name = cmd_name
        return command


app = typer.Typer(
    name="countdown",
    cls=Commands,
    help="Walks each patient through the countdown to a hip or knee replacement.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="markdown",
)


@app.callback()
def countdown() -> None:
    """Walks each patient through the countdown to a hip or knee replacement."""


def main() -> None:
    """Run the command line."""
    if sys.argv[1:2] == ["check"]:
        gc.disable()  # it ends within two seconds, and looking for garbage took a sixth of them
    app()
