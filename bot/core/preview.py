"""What a countdown's messages will say when their time comes, before anyone has answered."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from bot.core.arrival import arrival
from bot.core.conversation import Context, Conversation, PromptDue, Say
from bot.core.countdown import local_date
from bot.core.dialogue import step
from bot.core.facts import derive_facts
from bot.core.fasting import cut_offs, start_of
from bot.core.flow import FlowBook
from bot.core.office import is_open
from bot.core.planned import Countdown, Part, PlannedPrompt
from bot.core.protocol import Candidate, Rules, Surgery
from bot.core.values import part_values, surgery_values
from bot.core.wording import choice_labels, line_text, numbered, placeholders, say_text


@dataclass(frozen=True, slots=True)
class Outlook:
    """Whose countdown is looked at, and in which language."""

    book: FlowBook
    rules: Rules
    candidate: Candidate
    surgery: Surgery
    language: str = "en"
    first_name: str = ""


@dataclass(frozen=True, slots=True)
class Preview:
    """One message as it will read. `moments` are the instants (UTC) that the text names."""

    message: PlannedPrompt
    text: str
    sources: tuple[str, ...]
    moments: Mapping[str, datetime]


def preview(countdown: Countdown, outlook: Outlook) -> Iterator[Preview]:
    """Give every message of the countdown with its opening text, in the order of sending."""
    known = moments(outlook.rules, outlook.surgery)
    for message in countdown.prompts:
        says = [(part, _opening(message, part, outlook)) for part in message.parts]
        texts = [_text(said, part, message.due, outlook) for part, said in says if said]
        named = set(_named(outlook, (say for _, said in says for say in said)))
        flows = [outlook.book.flows.get(part.flow) for part in message.parts]
        sources = dict.fromkeys(source for flow in flows if flow for source in flow.sources)
        yield Preview(
            message,
            "\n\n".join(texts),
            tuple(sources),
            {n: t for n, t in known.items() if n in named},
        )


def moments(rules: Rules, surgery: Surgery) -> dict[str, datetime]:
    """Give the known instants by the placeholder that names them, UTC."""
    start, arriving, fasting = start_of(surgery), arrival(rules, surgery), cut_offs(rules, surgery)
    found = {
        "start_time": start,
        "arrival_time": arriving.at if arriving else None,
        "food_until": fasting.food if fasting else None,
        "light_meal_until": fasting.light_meal if fasting else None,
        "drink_until": fasting.drink if fasting else None,
        "gum_mints_until": fasting.gum_mints if fasting else None,
    }
    return {name: moment for name, moment in found.items() if moment is not None}


def _opening(message: PlannedPrompt, part: Part, outlook: Outlook) -> tuple[Say, ...]:
    """Let the dialogue open the part's flow in an empty conversation; take what it says."""
    due = PromptDue(
        part.key, ((part.flow, part.values),), message.to, message.priority, message.closes
    )
    candidate, surgery = outlook.candidate, outlook.surgery
    context = Context(
        rules=outlook.rules,
        zone=surgery.zone,
        facts=derive_facts(candidate, surgery, outlook.book.fact_defaults),
        office_open=is_open(outlook.rules.hours, surgery.zone, message.due),
        has_coach=candidate.has_coach,
        dawn_agreed=candidate.dawn_agreed,
        days_left=(surgery.on - local_date(message.due, surgery.zone)).days,
    )
    turn = step(outlook.book, Conversation(outlook.language), due, context, message.due)
    return tuple(e for e in turn.effects if isinstance(e, Say) and e.to == message.to)


def _text(said: tuple[Say, ...], part: Part, due: datetime, outlook: Outlook) -> str:
    values = {**_values(outlook, due), **part_values(part.values, outlook.language)}
    return "\n".join(_line(outlook, say, values) for say in said)


def _line(outlook: Outlook, say: Say, values: Mapping[str, str]) -> str:
    book, language = outlook.book, outlook.language
    # The effect carries the part's values as stored; their readable form must win here.
    bare = Say(say.to, say.flow, say.line, {}, say.choices, text=say.text)
    return numbered(say_text(book, bare, values, language), choice_labels(book, bare, language))


def _values(outlook: Outlook, due: datetime) -> dict[str, str]:
    rules, surgery, language = outlook.rules, outlook.surgery, outlook.language
    phones = rules.phones
    office_open = is_open(rules.hours, surgery.zone, due)
    return {
        **{name: str(value) for name, value in outlook.candidate.facts.items()},
        **surgery_values(rules, surgery, language),
        "first_name": outlook.first_name,
        "call_number": phones.office if office_open else phones.after_hours,
    }


def _named(outlook: Outlook, said: Iterable[Say]) -> Iterator[str]:
    for say in said:
        yield from placeholders(line_text(outlook.book, say.flow, say.line, outlook.language))
