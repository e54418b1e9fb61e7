"""Runs of the simulated clinic: repeatable from the seed, and every promise kept under faults."""

import pytest

from bot.simulate.faults import NAMES
from bot.simulate.run import simulate


@pytest.mark.slow
def test_the_same_seed_plays_the_same_run_and_another_seed_another(practice):
    first, again = (simulate(2, 7, 5, NAMES, practice) for _ in range(2))
    other = simulate(2, 7, 6, NAMES, practice)
    assert first.events_hash == again.events_hash != other.events_hash
    assert first.messages > 50


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1, 6))
def test_nothing_is_lost_or_doubled_under_all_faults(practice, seed):
    outcome = simulate(9, 10, seed, NAMES, practice)
    assert outcome.findings.clean, outcome.as_json()["examples"]
    assert outcome.crashes > 5
    assert outcome.alarms > 0
    assert outcome.stuck == 0
