"""Whether the person who opened a patient's link is that patient: asked by the year of birth.

A link can be forwarded or a printed code lost, so nothing personal is said before the year is
right. It is a check against the wrong reader, not a password: three tries (our choice).
"""

import re
from dataclasses import dataclass, replace
from enum import StrEnum

MOST_TRIES = 3
_FULL = re.compile(r"(?<!\d)(?:19|20)\d\d(?!\d)")
_SHORT = re.compile(r"(?<!\d)\d\d(?!\d)")


class Standing(StrEnum):
    """How far the check has come."""

    ASKING = "asking"
    PASSED = "passed"
    REFUSED = "refused"  # too many wrong answers: a person must help


@dataclass(frozen=True, slots=True)
class Check:
    """The check of one phone. `tries` counts the answers that were not the year."""

    standing: Standing = Standing.ASKING
    tries: int = 0


def answer(check: Check, text: str, born: int) -> Check:
    """Give the check after one answer; `born` is the year of birth on record.

    Only one single year counts, alone or in a whole date: a list of years is guessing. An answer
    without a year is a try too, so that nobody is asked for ever.
    """
    if check.standing is not Standing.ASKING:
        return check
    if years_in(text, born) == {born}:
        return replace(check, standing=Standing.PASSED)
    tries = check.tries + 1
    standing = Standing.REFUSED if tries >= MOST_TRIES else Standing.ASKING
    return Check(standing, tries)


def years_in(text: str, born: int) -> frozenset[int]:
    """The years that a text names: 1951, 3/14/1951, "March 14, 1951"; or 51 if it stands alone.

    A year in two digits is taken in the century of `born`: "51" cannot mean 2051.
    """
    plain = "".join(str(int(sign)) if sign.isdecimal() else sign for sign in text)
    full = frozenset(int(found) for found in _FULL.findall(plain))
    if full:
        return full
    alone = plain.strip().lstrip("'\u2019").rstrip(".")
    if _SHORT.fullmatch(alone):
        return frozenset({born - born % 100 + int(alone)})
    return frozenset()
