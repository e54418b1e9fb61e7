"""Runs of the simulated clinic: repeatable from the seed, and every promise kept under faults."""

import pytest

from bot.simulate.faults import NAMES
from bot.simulate.findings import LIVENESS, SAFETY, Check, Findings
from bot.simulate.run import simulate


def test_safety_and_liveness_together_are_all_that_an_audit_may_find():
    assert {*SAFETY, *LIVENESS} == {name for name, _ in Findings().by_kind()}
    assert not set(SAFETY) & set(LIVENESS)


@pytest.mark.slow
def test_the_same_seed_plays_the_same_run_and_another_seed_another(practice):
    first, again = (simulate(2, 7, 5, NAMES, practice) for _ in range(2))
    other = simulate(2, 7, 6, NAMES, practice)
    assert first.events_hash == again.events_hash != other.events_hash
    assert first.messages > 50


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1, 4))
def test_all_comes_right_after_the_faults_have_stopped(practice, seed):
    outcome = simulate(9, 10, seed, NAMES, practice)
    assert outcome.findings.clean, outcome.as_json()["examples"]
    assert outcome.crashes > 5
    assert outcome.alarms > 0
    assert outcome.askings > 50


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4, 6))
def test_nothing_wrong_happens_while_faults_go_on_without_end(practice, seed):
    outcome = simulate(9, 10, seed, NAMES, practice, Check.SAFETY)
    assert outcome.findings.clean, outcome.as_json()["examples"]
    assert outcome.liveness() is None
    assert outcome.crashes > 20
