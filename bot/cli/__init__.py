"""The command line: one thin module per command. Each parses, calls, prints."""

import typer

from bot.cli.accounts import accounts
from bot.cli.check import check
from bot.cli.demo import demo
from bot.cli.doctor import doctor
from bot.cli.enrol import import_schedule
from bot.cli.pictures import pictures
from bot.cli.plan import plan
from bot.cli.read import read
from bot.cli.review_sheet import sheet
from bot.cli.serve import serve
from bot.cli.talk import talk
from bot.cli.versions import publish, versions

app = typer.Typer(
    name="countdown",
    help="Walks each patient through the countdown to a hip or knee replacement.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="markdown",
)
app.command()(demo)
app.command()(talk)
app.command()(plan)
app.command("import")(import_schedule)
app.command()(read)
app.command()(check)
app.command()(pictures)
app.command()(publish)
app.add_typer(versions, name="versions")
app.command("review-sheet")(sheet)
app.command()(serve)
app.command()(doctor)
app.add_typer(accounts, name="accounts")


def main() -> None:
    """Run the command line."""
    app()
