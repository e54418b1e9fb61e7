"""The form of one message on each channel: a numbered list by SMS, buttons where there are some.

The dialogue hands over a text and the labels of the choices; what is said is the same everywhere,
only its form differs. Every answer may also be typed.
"""

from bot.channels.base import Outgoing
from bot.core.segments import Accents, sms_text

BUTTON_LABEL = 64  # our choice: longer labels are cut off on small screens
TELEGRAM_TEXT = 4096  # characters in one message, Telegram Bot API, sendMessage


def numbered(outgoing: Outgoing, accents: Accents = Accents.KEEP) -> str:
    """The message for a channel without buttons: plain signs, choices to answer by number."""
    return sms_text(outgoing.text, outgoing.choices, accents)


def button_rows(choices: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    """One button a row: the largest target for an unsteady thumb."""
    return tuple(
        (label if len(label) <= BUTTON_LABEL else label[:61] + "...",) for label in choices
    )


def chosen(text: str, label: str) -> str:
    """The message as it stands in the chat once a button was pressed, its buttons gone."""
    return f"{text}\n\n> {label}"


def cut(text: str, limit: int) -> tuple[str, ...]:
    """The text in pieces of at most `limit` characters, cut at a line or word end where one is."""
    pieces = []
    while len(text) > limit:
        window = text[: limit + 1]
        at = max(window.rfind("\n"), window.rfind(" "))
        at = at if at > limit // 2 else limit
        pieces.append(text[:at].rstrip())
        text = text[at:].lstrip()
    return (*pieces, text)
