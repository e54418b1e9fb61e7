"""`countdown accounts`: who may sign in to the nurse's page."""

import sys
from typing import Annotated, NoReturn

import typer
from sqlalchemy import Engine

from bot.cli.check import shipped
from bot.cli.opening import prepare_folder, settings_or_stop
from bot.clock import system_clock
from bot.content.faults import ContentFaults
from bot.content.load import load_rules
from bot.core.passwords import SHORTEST
from bot.core.staff import Account, Role
from bot.service import accounts as service
from bot.service import second_factor
from bot.service.accounts import AccountFault
from bot.service.signing_in import Passwords
from bot.store import accounts as store
from bot.store.engine import open_engine, reading, writing
from bot.store.schema import upgrade
from bot.wiring import new_secret

accounts = typer.Typer(help="Who may sign in to the nurse's page.", no_args_is_help=True)
Name = Annotated[str, typer.Argument(help="The person's own name; the logs show it.")]
Roles = Annotated[list[Role], typer.Option("--role", help="Give it again for a second role.")]
Make = Annotated[bool, typer.Option("--make", help="Make a password and print it once.")]


@accounts.command()
def add(name: Name, role: Roles, make: Make = False) -> None:
    """Make an account. The password is asked for twice, or with --make made and printed once.

    Examples:

        countdown accounts add "Ann Lee" --role nurse

        countdown accounts add "Ada Frost" --role administrator --make
    """
    engine = _engine()
    password = _password(make)
    try:
        service.add_account(engine, Passwords(), name, role, password, system_clock(), _hospital())
    except AccountFault as fault:
        _fail(str(fault))
    _tell(name, password, made=make)


@accounts.command()
def password(name: Name, make: Make = False) -> None:
    """Give an account another password and sign it out everywhere.

    Example:

        countdown accounts password "Ann Lee"
    """
    engine = _engine()
    account = _named(engine, name)
    new = _password(make)
    try:
        service.change_password(engine, Passwords(), account, new, system_clock(), _hospital())
    except AccountFault as fault:
        _fail(str(fault))
    _tell(name, new, made=make)


@accounts.command()
def roles(name: Name, role: Roles) -> None:
    """Give an account these roles instead of those it has, and sign it out everywhere.

    Example:

        countdown accounts roles "Ann Lee" --role nurse --role educator
    """
    engine = _engine()
    account = _named(engine, name)
    try:
        service.change_roles(engine, account, role, system_clock())
    except AccountFault as fault:
        _fail(str(fault))
    typer.echo(f"{account.name}: {', '.join(sorted(set(role)))}. Signed out; may sign in anew.")


@accounts.command("forget-code")
def forget_code(name: Name) -> None:
    """Ask an account for no code any more: the phone and the recovery codes are lost.

    Example:

        countdown accounts forget-code "Ann Lee"
    """
    engine = _engine()
    account = _named(engine, name)
    if not second_factor.forget(engine, account, system_clock()):
        _fail(f"{account.name} had set up no code.")
    typer.echo(f"{account.name} signs in with the password alone, and may set up a code again.")


@accounts.command()
def close(name: Name) -> None:
    """Let nobody sign in to an account any more; what it did stays in the logs.

    Example:

        countdown accounts close "Ann Lee"
    """
    engine, now = _engine(), system_clock()
    account = _named(engine, name)
    with writing(engine) as connection:
        store.close_account(connection, account.id, now)
        store.end_sessions_of(connection, account.id, now)
    typer.echo(f"{name} can no longer sign in.")


@accounts.command("list")
def list_all() -> None:
    """List who may sign in, and their roles."""
    with reading(_engine()) as connection:
        found = store.accounts(connection)
    for account in found:
        typer.echo(f"{account.name}: {', '.join(sorted(account.roles))}")
    if not found:
        typer.echo('Nobody yet. Make one: countdown accounts add "Ann Lee" --role nurse')


def _hospital() -> str:
    """The hospital's name; "" while its rules cannot be read, which `countdown check` tells."""
    try:
        return load_rules(shipped()).hospital
    except ContentFaults:
        return ""


def _named(engine: Engine, name: str) -> Account:
    with reading(engine) as connection:
        found = store.account_named(connection, name)
    if found is None:
        _fail(f"There is no account named '{name}'. See: countdown accounts list")
    return found[0]


def _password(make: bool) -> str:
    """Made, or read twice without showing it; from a pipe it is read once."""
    if make:
        return new_secret()[:24]
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    asked = f"Password, at least {SHORTEST} signs (four unrelated words do well)"
    return str(typer.prompt(asked, hide_input=True, confirmation_prompt="The same again"))


def _tell(name: str, password: str, *, made: bool) -> None:
    typer.echo(f"{name} can sign in now.")
    if made:
        typer.echo(f"Password, shown only this once: {password}")


def _engine() -> Engine:
    """The store, migrated; its folder is made when it is missing."""
    settings = settings_or_stop()
    prepare_folder(settings)
    engine = open_engine(settings.database)
    upgrade(engine)
    return engine


def _fail(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(1)
