"""The audit bites: a service with a known fault is found out within three seeds."""

import pytest
from planted_defects import DEFECTS

from bot.simulate.faults import NAMES
from bot.simulate.run import simulate


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(DEFECTS))
def test_a_planted_defect_is_found(name, practice, monkeypatch):
    plant, kind = DEFECTS[name]
    faulty = plant(monkeypatch, practice) or practice
    found = (getattr(simulate(3, 7, seed, NAMES, faulty).findings, kind) for seed in (1, 2, 3))
    assert any(found)
