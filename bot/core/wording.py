"""The text of a message: the flow's wording in the reader's language, with the values filled in."""

import re
from collections.abc import Iterator, Mapping

from bot.core.conversation import Say
from bot.core.flow import Flow, FlowBook

PLACEHOLDER = re.compile(r"\{(\w+)\}")
NOT_KNOWN = {"en": "not known yet", "es": "aún no se sabe"}  # if the content has no line for it


def say_text(
    book: FlowBook,
    say: Say,
    values: Mapping[str, str],
    language: str,
    own: Mapping[str, str] | None = None,
) -> str:
    """The text of a Say effect; the choices are not part of it (see `choice_labels`).

    `values` are the patient's; the effect's own values win, or `own`, which is those in words. An
    unknown value never stops a message: it is filled with the words for "not known yet", because an
    alarm text must go out.
    """
    template = say.text
    if template is None:
        template = line_text(book, say.flow, say.line, language)
    mine = say.values if own is None else own
    return filled(book, template, {**values, **mine}, language)


def topic(book: FlowBook, values: Mapping[str, str], language: str) -> str:
    """What a copy is about: the flow's `topic` line in the coach's language, else its title."""
    return line_text(book, values.get("flow", ""), "topic", language) or values.get("topic", "")


def choice_labels(book: FlowBook, say: Say, language: str) -> tuple[str, ...]:
    """The labels of the choices offered, in order: buttons, or a numbered list in an SMS."""
    flow = book.flows[say.flow]
    return tuple(_in_language(flow.labels.get(key, {}), language) or key for key in say.choices)


def numbered(text: str, labels: tuple[str, ...]) -> str:
    """The text with its choices as a numbered list, one per line."""
    return "\n".join((text, *(f"{n} {label}" for n, label in enumerate(labels, start=1))))


def line_text(book: FlowBook, flow: str, line: str, language: str) -> str:
    """One wording line, unfilled; English where the language lacks it, else a plain fault text."""
    found: Flow | None = book.flows.get(flow)
    texts = found.wording.get(line, {}) if found else {}
    return _in_language(texts, language)


def filled(book: FlowBook, template: str, values: Mapping[str, str], language: str) -> str:
    """The template with every {name} replaced."""
    unknown = not_known(book, language)
    return PLACEHOLDER.sub(lambda name: values.get(name[1]) or unknown, template)


def not_known(book: FlowBook, language: str) -> str:
    """The words that stand in for a value that nobody has yet."""
    said = line_text(book, "system", "not_known", language)
    return said or NOT_KNOWN.get(language, NOT_KNOWN["en"])


def placeholders(template: str) -> Iterator[str]:
    """The names that a text wants filled, in order."""
    return (found[1] for found in PLACEHOLDER.finditer(template))


def _in_language(texts: Mapping[str, str], language: str) -> str:
    return texts.get(language) or texts.get("en") or next(iter(texts.values()), "")
