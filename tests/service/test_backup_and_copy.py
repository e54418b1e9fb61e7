"""Copies of a store in use: whole, counted, and refused when something is wrong with them."""

from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import func, select

from bot.service.metrics import exposition
from bot.store.backup import BackupFault, back_up, restore, verify
from bot.store.copying import CopyFault, copy_store
from bot.store.engine import open_engine, writing
from bot.store.schema import upgrade
from bot.store.tables_log import METADATA, OUTBOUND


@pytest.fixture
def file_of(clinic):
    return clinic.app.engine.url.database


def _counts(engine):
    with engine.connect() as connection:
        return {
            t.name: connection.execute(select(func.count()).select_from(t)).scalar_one()
            for t in METADATA.sorted_tables
        }


def test_a_copy_of_a_store_in_use_holds_every_committed_row(clinic, file_of, tmp_path):
    clinic.enrol()
    clinic.app.tick()
    with writing(clinic.app.engine):  # a writer is at work meanwhile
        counts = back_up(Path(file_of), tmp_path / "copy.db")
    assert counts["patient"] == 1
    assert counts["outbound"] >= 1
    assert restore(tmp_path / "copy.db", tmp_path / "again.db") == counts


def test_a_damaged_copy_and_a_taken_place_are_refused(clinic, file_of, tmp_path):
    clinic.enrol()
    copy = tmp_path / "copy.db"
    back_up(Path(file_of), copy)
    with pytest.raises(BackupFault, match="exists already"):
        back_up(Path(file_of), copy)
    whole = copy.read_bytes()
    copy.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(BackupFault):
        verify(copy)


def test_a_store_is_copied_into_another_with_the_same_counts(clinic, tmp_path):
    clinic.enrol()
    target = open_engine(f"sqlite:///{tmp_path / 'new.db'}")
    upgrade(target)
    copied = copy_store(clinic.app.engine, target)
    assert copied == _counts(clinic.app.engine) == _counts(target)
    with pytest.raises(CopyFault, match="has rows"):
        copy_store(clinic.app.engine, target)


def test_the_figures_for_monitoring_rise_with_what_waits_and_name_nobody(clinic):
    clinic.enrol()
    clinic.app.tick()  # something waits in the outbox, nothing sends it
    with clinic.app.engine.connect() as connection:
        waiting = connection.execute(
            select(func.count()).where(OUTBOUND.c.state == "queued")
        ).scalar_one()
    told = exposition(clinic.app.engine, clinic.now + timedelta(minutes=3)).decode()
    assert waiting > 0
    assert f"countdown_outbox {float(waiting)}" in told
    assert "countdown_outbox_age_seconds 180.0" in told
    assert "Vale" not in told
