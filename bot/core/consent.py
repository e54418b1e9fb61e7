"""Consent comes before the first message: until it is on record, one question is all that goes out.

Who agreed on paper or in class was enrolled with that; who did not is asked by text, and the
countdown begins with their yes (47 CFR 64.1200(a)(9)(iv) is too narrow to do without; from memory).
"""

from collections.abc import Mapping

from bot.core.protocol import Anchor, FactValue, Priority, Prompt, Protocol, When

AGREED = "texts_agreed"  # the fact: true or false once the patient has said; absent until then
ASKING = "consent_first"  # the talk that asks
_WINDOW = 30 * 24 * 60  # minutes in which an answer still helps

ASKING_PROTOCOL = Protocol(
    "consent",
    "Before the countdown",
    (
        Prompt(
            ASKING,
            ASKING,
            When(Anchor.ENROLMENT),
            priority=Priority.SAFETY,
            window_minutes=_WINDOW,
            item="consent",
        ),
    ),
)


def must_be_asked(facts: Mapping[str, FactValue]) -> bool:
    """True while nobody knows whether the patient wants messages. A no is known: it pauses them."""
    return AGREED not in facts
