"""The audit bites: a service with a known fault is found out within three seeds."""

import pytest
from planted_defects import DEFECTS
from planted_in_time import IN_TIME

from bot.simulate.faults import NAMES
from bot.simulate.run import simulate

PATIENTS, DAYS = 9, 8  # each of the nine ways once
EVERY = {**DEFECTS, **IN_TIME}


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(EVERY))
def test_a_planted_defect_is_found(name, practice, monkeypatch):
    plant, kind = EVERY[name]
    faulty = plant(monkeypatch, practice) or practice
    outcomes = (simulate(PATIENTS, DAYS, seed, NAMES, faulty) for seed in (1, 2, 3))
    assert any(getattr(outcome.findings, kind) for outcome in outcomes)
