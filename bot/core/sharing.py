"""One telephone, several people: whose text it is, and how the phone's people are told apart.

Two people share an address only with staff's permission. What is sent to it begins with a name;
what comes from it is given to one of them only when there is no doubt. Doubt about an alarm is
never settled by guessing: each patient behind the phone gets an escalation, and then we ask.
No published source sets these rules; they are this project's choice.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from enum import StrEnum

from bot.core.choice_words import plain
from bot.core.record import Party
from bot.core.value import value

ASK_FOR = timedelta(hours=2)  # how long "who is this about?" stands before a nurse reads the text
APART = timedelta(hours=1)  # questions put closer together than this can be mixed up
_SHORT = 5  # words; a longer text says more than a name
_NOT = frozenset({"not", "no", "nor", "isnt", "neither", "ni"})


class Says(StrEnum):
    """What a text is, as far as it matters for whose it is."""

    ALARM = "alarm"
    STOP = "stop"  # an opt-out or a wrong number: it ends everything to this phone
    START = "start"
    HELP = "help"  # its answer holds nothing personal
    OTHER = "other"


@value
class Person:
    """One of the people behind an address, with the whole name. `of` is a coach's patient."""

    party: Party
    name: str
    of: str = ""


@value
class Owner:
    """A person of a shared phone as this text finds them."""

    party: Party
    asked_at: datetime | None = None  # when the question open to them was put; None: none is open
    health: bool = False  # that question asks how they are
    answers: bool = False  # the text is one of the answers to it
    active: bool = True  # messages go to them
    talking: bool = False  # the question was put in reply to a text of theirs


@value
class Decision:
    """What becomes of a text: read in full as that of `heard`; escalated for each of `warned`.

    `ask`: who it is about is asked, and the text kept until it is told.
    """

    heard: tuple[Party, ...] = ()
    warned: tuple[Party, ...] = ()
    ask: bool = False


def decide(owners: Sequence[Owner], says: Says) -> Decision:
    """Decide whose a text from a shared phone is.

    1. A stop counts for everyone; 2. an alarm belongs to one only if the last question put to this
    phone asked that one, and no other, how they are; else it is everybody's, and we ask; 3. "start"
    is that of the one person who stopped; 4. other words are that of the one who has a question
    open, or who was asked last and is answered by them; else we ask. Two questions put close
    together that both fit are not told apart, unless the last is part of a talk under way.
    """
    match says:
        case Says.STOP:
            return Decision(heard=_parties(owners))
        case Says.ALARM:
            return _alarm(owners)
        case Says.START if any(owner.party.stopped for owner in owners):
            return _one_or_ask([owner for owner in owners if owner.party.stopped])
        case Says.HELP:
            return Decision(heard=_parties(_listening(owners)[:1]))
        case _:
            return _other(_listening(owners))


def _alarm(owners: Sequence[Owner]) -> Decision:
    last = _asked_last(owners)
    if last is not None and [o for o in owners if o.health and o.asked_at] == [last]:
        return Decision(heard=(last.party,))
    each = one_for_each_patient(owner.party for owner in owners)
    return Decision(heard=each) if len(each) == 1 else Decision(warned=each, ask=True)


def _other(owners: Sequence[Owner]) -> Decision:
    asked = [owner for owner in owners if owner.asked_at is not None]
    if len(owners) == 1 or len(asked) == 1:
        return Decision(heard=_parties(asked or owners))
    last = _asked_last(owners)
    if last is None or not last.answers or _mixed_up(last, asked):
        return Decision(ask=True)
    return Decision(heard=(last.party,))


def _mixed_up(last: Owner, asked: Iterable[Owner]) -> bool:
    """True when the text also answers another's question that was put at nearly the same time."""
    if last.talking:
        return False
    others = [other.asked_at for other in asked if other is not last and other.answers]
    return any(
        last.asked_at is not None and at is not None and last.asked_at - at < APART for at in others
    )


def _asked_last(owners: Sequence[Owner]) -> Owner | None:
    """The person who was asked last; None when nobody was, or two at one moment."""
    when = [owner.asked_at for owner in owners if owner.asked_at is not None]
    last = [owner for owner in owners if when and owner.asked_at == max(when)]
    return last[0] if len(last) == 1 else None


def _one_or_ask(owners: Sequence[Owner]) -> Decision:
    return Decision(heard=_parties(owners)) if len(owners) == 1 else Decision(ask=True)


def _listening(owners: Sequence[Owner]) -> Sequence[Owner]:
    return [owner for owner in owners if owner.active] or owners


def _parties(owners: Iterable[Owner]) -> tuple[Party, ...]:
    return tuple(owner.party for owner in owners)


def one_for_each_patient(parties: Iterable[Party]) -> tuple[Party, ...]:
    """One party for each patient behind the phone: the patient, before a coach of theirs."""
    found: dict[int, Party] = {}
    for party in parties:
        if party.patient not in found or party.coach is None:
            found[party.patient] = party
    return tuple(found.values())


def names_of(people: Sequence[Person]) -> tuple[str, ...]:
    """What each person of a phone is called: by the first name, or by as much as tells them apart.

    Two of one name are told apart by the whole name, then by whose coach one is, then by a number.
    """
    firsts = [person.name.split()[0] if person.name.split() else "?" for person in people]
    wholes = [person.name or "?" for person in people]
    as_coach = [f"{p.name} / {p.of}" if p.of else p.name or "?" for p in people]
    numbered = [f"{name} ({n})" for n, name in enumerate(as_coach, start=1)]
    return tuple(
        next(
            ladder[n]
            for ladder in (firsts, wholes, as_coach, numbered)
            if Counter(map(plain, ladder))[plain(ladder[n])] == 1
        )
        for n in range(len(people))
    )


def chosen(text: str, names: Sequence[str]) -> int | None:
    """Which of the names an answer to "who is this about?" means, from 0; None when in doubt."""
    said = plain(text)
    if said.isascii() and said.isdigit():
        return int(said) - 1 if 1 <= int(said) <= len(names) else None
    exact = [n for n, name in enumerate(names) if plain(name) == said]
    if exact:
        return exact[0]
    words = said.split()
    if len(words) > _SHORT or _NOT & set(words):
        return None
    named = [n for n, name in enumerate(names) if f" {plain(name)} " in f" {said} "]
    return named[0] if len(named) == 1 else None
