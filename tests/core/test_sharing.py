from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.record import Party
from bot.core.sharing import APART, Decision, Owner, Person, Says, chosen, decide, names_of

NOON = datetime(2027, 3, 1, 17, tzinfo=UTC)
WALTER, RUTH = Party(1, "sms", "+12025550150"), Party(2, "sms", "+12025550150")
WALTERS_COACH = Party(1, "sms", "+12025550150", coach=7)
ASKS = Decision(ask=True)


def _owner(party, minutes_ago=None, **more):
    at = None if minutes_ago is None else NOON - timedelta(minutes=minutes_ago)
    return Owner(party, at, **more)


def test_words_belong_to_the_one_person_who_was_asked_something():
    found = decide([_owner(WALTER), _owner(RUTH, 30)], Says.OTHER)
    assert found == Decision(heard=(RUTH,))


def test_with_two_questions_open_the_last_one_is_answered_if_the_words_fit_it():
    walter, ruth = _owner(WALTER, 300), _owner(RUTH, 5, answers=True)
    assert decide([walter, ruth], Says.OTHER) == Decision(heard=(RUTH,))


def test_words_that_do_not_fit_the_last_question_are_asked_about():
    walter, ruth = _owner(WALTER, 300, answers=True), _owner(RUTH, 5)
    assert decide([walter, ruth], Says.OTHER) == ASKS


@pytest.mark.parametrize(("apart", "asks"), [(APART / 2, True), (APART, False)])
def test_two_questions_put_close_together_that_both_fit_are_not_guessed_at(apart, asks):
    walter = Owner(WALTER, NOON - apart, answers=True)
    assert decide([walter, Owner(RUTH, NOON, answers=True)], Says.OTHER).ask is asks


def test_a_talk_under_way_goes_on_though_the_other_was_asked_just_before():
    walter, ruth = _owner(WALTER, 9, answers=True), _owner(RUTH, 5, answers=True, talking=True)
    assert decide([walter, ruth], Says.OTHER) == Decision(heard=(RUTH,))


def test_questions_put_at_one_moment_are_not_guessed_at():
    owners = [_owner(WALTER, 5), _owner(RUTH, 5, answers=True)]
    assert decide(owners, Says.OTHER) == ASKS


def test_with_nothing_open_we_ask():
    assert decide([_owner(WALTER), _owner(RUTH)], Says.OTHER) == ASKS


def test_who_gets_no_messages_is_not_thought_of_unless_it_is_an_alarm():
    owners = [_owner(WALTER, active=False), _owner(RUTH)]
    assert decide(owners, Says.OTHER) == Decision(heard=(RUTH,))
    assert decide(owners, Says.ALARM) == Decision(warned=(WALTER, RUTH), ask=True)


def test_an_alarm_is_one_persons_only_when_the_last_question_asked_that_one_how_they_are():
    asked, pets = _owner(WALTER, 5, health=True), _owner(RUTH, 60)
    assert decide([asked, pets], Says.ALARM) == Decision(heard=(WALTER,))
    assert decide([asked, _owner(RUTH, 1)], Says.ALARM).warned == (WALTER, RUTH)
    assert decide([asked, _owner(RUTH, 60, health=True)], Says.ALARM).warned == (WALTER, RUTH)


def test_one_open_question_about_something_else_makes_no_alarm_clear():
    owners = [_owner(WALTER, 5, answers=True), _owner(RUTH)]
    assert decide(owners, Says.ALARM) == Decision(warned=(WALTER, RUTH), ask=True)


def test_an_alarm_from_a_patient_or_their_own_coach_is_about_the_patient():
    owners = [_owner(WALTERS_COACH), _owner(WALTER)]
    assert decide(owners, Says.ALARM) == Decision(heard=(WALTER,))


def test_a_stop_is_everyones():
    owners = [_owner(WALTER, 5), _owner(RUTH), _owner(WALTERS_COACH)]
    assert decide(owners, Says.STOP).heard == (WALTER, RUTH, WALTERS_COACH)


def test_start_is_that_of_the_one_who_stopped():
    stopped = Party(2, "sms", "+12025550150", stopped=True)
    owners = [_owner(WALTER, 5), Owner(stopped, active=False)]
    assert decide(owners, Says.START).heard == (stopped,)
    both = [Owner(Party(1, "sms", "x", stopped=True)), Owner(stopped)]
    assert decide(both, Says.START) == ASKS


_MINUTES = st.none() | st.integers(0, 600)
_OWNERS = st.lists(
    st.builds(
        lambda patient, coach, minutes, health, answers, active: _owner(
            Party(patient, "sms", "x", coach),
            minutes,
            health=health,
            answers=answers,
            active=active,
        ),
        st.integers(1, 3),
        st.none() | st.integers(1, 3),
        _MINUTES,
        st.booleans(),
        st.booleans(),
        st.booleans(),
    ),
    min_size=2,
    max_size=4,
    unique_by=lambda owner: (owner.party.patient, owner.party.coach),
)


@given(_OWNERS)
def test_an_alarm_leaves_nobody_without_an_escalation_unless_it_is_clearly_one_persons(owners):
    found = decide(owners, Says.ALARM)
    patients = {owner.party.patient for owner in owners}
    told = {party.patient for party in (*found.heard, *found.warned)}
    if told != patients:
        (clear,) = [owner for owner in owners if owner.party in found.heard]
        assert clear.health
        assert clear.asked_at is not None
        others = [owner for owner in owners if owner is not clear and owner.asked_at]
        assert all(other.asked_at < clear.asked_at and not other.health for other in others)
    assert found.ask == bool(found.warned)


@given(_OWNERS, st.sampled_from(Says))
def test_no_text_is_lost(owners, says):
    found = decide(owners, says)
    assert found.heard or found.ask


@given(_OWNERS)
def test_calm_words_are_never_read_as_two_peoples(owners):
    found = decide(owners, Says.OTHER)
    assert len(found.heard) == (0 if found.ask else 1)


def test_people_are_called_by_the_first_name_or_by_as_much_as_tells_them_apart():
    walter, ruth = Person(WALTER, "Walter Hale"), Person(RUTH, "Ruth Hale")
    assert names_of([walter, ruth]) == ("Walter", "Ruth")
    son = Person(RUTH, "Walter Hale Jr")
    assert names_of([walter, son]) == ("Walter Hale", "Walter Hale Jr")
    as_coach = Person(WALTERS_COACH, "Ruth Hale", "Walter Hale")
    assert names_of([ruth, as_coach]) == ("Ruth Hale", "Ruth Hale / Walter Hale")
    assert names_of([walter, walter]) == ("Walter Hale (1)", "Walter Hale (2)")


@given(st.lists(st.sampled_from(["Ruth Hale", "ruth hale", "Ruth", "Rút", ""]), min_size=2))
def test_no_two_people_of_a_phone_are_called_the_same(names):
    people = [Person(Party(n, "sms", "x"), name) for n, name in enumerate(names)]
    assert len(set(names_of(people))) == len(people)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("1", 0), ("2.", 1), ("3", None), ("0", None), ("Ruth", 1), ("it's RUTH", 1),
        ("about walter please", 0), ("not Ruth", None), ("Walter or Ruth", None), ("yes", None),
        ("Ruth says that her knee hurts a lot today", None), ("", None), ("12", None),
    ],
)  # fmt: skip
def test_the_answer_to_whom_it_is_about(text, place):
    assert chosen(text, ("Walter", "Ruth")) == place
