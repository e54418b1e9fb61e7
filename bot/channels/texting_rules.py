"""The rules of texting that a channel itself must know, each with its source. Not legal advice."""

from dataclasses import dataclass

import phonenumbers


@dataclass(frozen=True, slots=True)
class TextingRule:
    """One rule that binds the sender, where it is written, and whether that text was read."""

    rule: str
    source: str
    status: str  # "read", "second-hand" or "memory"


# Matched on the whole message only: "cancel" is not "cancel my surgery". The reader catches the
# rest, since any wording that a reasonable person would take for "stop" must count.
OPT_OUT_WORDS = frozenset(
    ("stop", "stopall", "unsubscribe", "cancel", "end", "quit", "revoke", "opt out", "optout")
)
OPT_IN_WORDS = frozenset(("start", "yes", "unstop"))
HELP_WORDS = frozenset(("help", "info"))


RULES = (
    TextingRule(
        "These replies end the messages: stop, quit, end, revoke, opt out, cancel, unsubscribe; "
        "so does any other wording that plainly asks for it.",
        "47 CFR 64.1200(a)(10); FCC 24-18, 2024",
        "second-hand",
    ),
    TextingRule(
        "STOP, STOPALL, UNSUBSCRIBE, CANCEL, END and QUIT opt out; HELP and INFO name the sender "
        "and a contact; START, YES and UNSTOP return. Letter case does not matter.",
        "CTIA Messaging Principles and Best Practices, 2019 and 2023",
        "memory",
    ),
    TextingRule(
        "One confirmation after an opt-out, within five minutes, without any other content.",
        "47 CFR 64.1200(a)(12)",
        "second-hand",
    ),
    TextingRule(
        "An opt-out is honoured as soon as practicable, at most within 10 business days; here at "
        "once.",
        "47 CFR 64.1200(a)(10)",
        "second-hand",
    ),
    TextingRule(
        "Consent is the basis of the countdown: the exemption for health messages (one a day, "
        "three a week, 160 characters, free to the reader) is too narrow to carry it.",
        "47 CFR 64.1200(a)(9)(iv); FCC 15-72, 2015",
        "memory",
    ),
    TextingRule(
        "Calls that sell are confined to 8 am to 9 pm at the reader's place; kept here for every "
        "prompt, except those the patient agreed to have at dawn.",
        "47 CFR 64.1200(c)(1)",
        "memory",
    ),
    TextingRule(
        "Plain SMS is allowed once the person was told that others may read it and still wants it.",
        "HHS OCR FAQ 570, 2008; 78 FR 5634, 2013",
        "second-hand",
    ),
)


def e164(written: str, region: str = "US") -> str | None:
    """The number in international form, or None if it has not the form of a phone number.

    This proves the form only: not that the number exists, nor whose it is.
    """
    try:
        number = phonenumbers.parse(written, region)
    except phonenumbers.NumberParseException:
        return None
    reason = phonenumbers.is_possible_number_with_reason(number)
    if reason != phonenumbers.ValidationResult.IS_POSSIBLE:  # a local number lacks its area code
        return None
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)
