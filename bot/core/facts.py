"""Facts about a patient, and the conditions that prompts and flows put on them."""

from collections.abc import Iterable, Mapping
from datetime import date

from bot.core.countdown import whole_years
from bot.core.protocol import Candidate, FactTest, FactValue, Surgery


def derive_facts(
    candidate: Candidate, surgery: Surgery, defaults: Mapping[str, FactValue] | None = None
) -> dict[str, FactValue]:
    """Join defaults, what is on record, and what follows from the record.

    The surgery decides joint and side, and the record decides the coach and the dawn agreement,
    whatever a stored fact of the same name says. `age` follows from `birth_date` (ISO text), on the
    day of surgery, unless an age is on record.
    """
    facts: dict[str, FactValue] = {**(defaults or {}), **candidate.facts}
    if "age" not in candidate.facts and (born := _birth_date(candidate.facts)):
        facts["age"] = whole_years(born, surgery.on)
    facts |= {
        "joint": surgery.joint,
        "side": surgery.side,
        "has_coach": candidate.has_coach,
        "dawn_agreed": candidate.dawn_agreed,
        "medicine_hold_on_file": bool(candidate.holds),
        "start_known": surgery.starts_at is not None,
    }
    return facts


def holds(test: FactTest, facts: Mapping[str, FactValue]) -> bool:
    """Decide one condition. A fact that nobody knows fulfils nothing."""
    if test.fact not in facts:
        return False
    value = facts[test.fact]
    if test.at_least is None and test.below is None:
        return any(_same(value, wanted) for wanted in test.values)
    return _in_range(value, test)


def all_hold(tests: Iterable[FactTest], facts: Mapping[str, FactValue]) -> bool:
    """True when every condition holds; true when there is none."""
    return all(holds(test, facts) for test in tests)


def wanted(
    only_if: Iterable[FactTest], not_if: Iterable[FactTest], facts: Mapping[str, FactValue]
) -> bool:
    """Decide whether something is for this patient: all of `only_if`, none of `not_if`."""
    return all_hold(only_if, facts) and not any(holds(test, facts) for test in not_if)


def _same(value: FactValue, wanted_value: FactValue) -> bool:
    """Compare within one kind: True is not 1, and words match whatever their case."""
    if isinstance(value, bool) or isinstance(wanted_value, bool):
        return value is wanted_value
    if isinstance(value, str) and isinstance(wanted_value, str):
        return value.casefold() == wanted_value.casefold()
    return value == wanted_value


def _in_range(value: FactValue, test: FactTest) -> bool:
    if isinstance(value, bool) or not isinstance(value, int):
        return False
    above = test.at_least is None or value >= test.at_least
    return above and (test.below is None or value < test.below)


def _birth_date(facts: Mapping[str, FactValue]) -> date | None:
    try:
        return date.fromisoformat(str(facts["birth_date"]))
    except (KeyError, ValueError):
        return None
