"""Conditions on facts, and facts that follow from the record."""

from datetime import UTC, date, datetime

import pytest
from countdown_samples import surgery

from bot.core.facts import all_hold, derive_facts, holds, wanted
from bot.core.protocol import Candidate, FactTest, MedicineHold

ON = date(2027, 3, 15)
ENROLLED = datetime(2027, 2, 8, 14, tzinfo=UTC)


@pytest.mark.parametrize(
    ("test", "expected"),
    [
        (FactTest("smoker", (True,)), True),
        (FactTest("smoker", (False,)), False),
        (FactTest("smoker", (1,)), False),  # true is not the number one
        (FactTest("joint", ("hip", "KNEE")), True),
        (FactTest("age", (72,)), True),
        (FactTest("age", at_least=65), True),
        (FactTest("age", at_least=72, below=73), True),
        (FactTest("age", below=72), False),
        (FactTest("smoker", at_least=1), False),
        (FactTest("unknown", (True,)), False),
    ],
)
def test_one_condition(test: FactTest, expected: bool):
    assert holds(test, {"smoker": True, "joint": "knee", "age": 72}) is expected


def test_all_conditions_must_hold_and_none_of_the_exclusions():
    facts = {"smoker": True, "pets": True}
    smoker, pets, coach = (FactTest(name, (True,)) for name in ("smoker", "pets", "has_coach"))
    assert all_hold((), facts)
    assert wanted((smoker, pets), (coach,), facts)
    assert not wanted((smoker, coach), (), facts)
    assert not wanted((smoker,), (pets,), facts)


def test_the_record_decides_joint_side_coach_and_holds():
    stored = Candidate(
        ENROLLED,
        facts={"joint": "hip", "has_coach": True, "smoker": True},
        holds=(MedicineHold("lisinopril", date(2027, 3, 14), "Dr. Ivo Marsh"),),
    )
    facts = derive_facts(stored, surgery(ON), {"smoker": False, "pets": False})
    assert facts["joint"] == "knee"
    assert facts["side"] == "left"
    assert facts["has_coach"] is False
    assert facts["medicine_hold_on_file"] is True
    assert facts["smoker"] is True
    assert facts["pets"] is False


@pytest.mark.parametrize(
    ("facts", "age"),
    [
        ({"birth_date": "1953-03-15"}, 74),
        ({"birth_date": "1953-03-16"}, 73),
        ({"birth_date": "1953-03-15", "age": 80}, 80),
        ({"birth_date": ""}, 70),
        ({"birth_date": "next spring"}, 70),
    ],
)
def test_age_is_that_on_the_day_of_surgery(facts, age):
    assert derive_facts(Candidate(ENROLLED, facts), surgery(ON), {"age": 70})["age"] == age
