"""`countdown check`: everything wrong with a content directory, all of it at once."""

from collections.abc import Container, Iterable, Iterator
from datetime import date
from pathlib import Path

from bot.content.check_ease import ease_faults
from bot.content.check_guidance import own_rules
from bot.content.check_links import prompt_links, reason_links, talk_links
from bot.content.check_reach import prompt_reach_faults, reach_faults
from bot.content.check_replies import reply_faults
from bot.content.check_shape import alarm_faults, shape_faults
from bot.content.check_speech import answers_and_lexicon, reader_of
from bot.content.check_text import text_faults
from bot.content.document import Document
from bot.content.faults import ContentFaults, Fault
from bot.content.load import LANGUAGES, Shelf, book_of, compiled, load_protocols, load_rules, shelf
from bot.content.schema import ProtocolModel, TalkModel
from bot.core.consent import ASKING
from bot.core.handout import HANDOUT, HANDOUT_LINES
from bot.reading.reading import Symptom

# What the dialogue says and opens by name, whatever else the content holds.
NEEDED_FLOWS = (
    "alarm_symptom", "alarm_emergency", "alarm_self_harm", "call_check", "system", "coach_copy",
    ASKING, HANDOUT,
)  # fmt: skip
NEEDED_LINES = (
    "help", "stopped", "back_on", "unread_again", "unread_nurse", "not_understood_number",
    "question_nurse", "no_question_open", "interrupted_back", "alarm_again", "corrected",
    "wrong_number", "exposure_nurse", "reschedule_nurse", "coach_left", "coach_left_patient",
    "coach_joined", "coach_help", "coach_nurse", "coach_noted", "coach_emergency",
    "next_up", "next_nothing", "done_so_far", "done_nothing", "when_arrive", "when_arrive_unknown",
    "remind_ok", "person_coming", "you_are_welcome", "paused", "stranger", "link_ask",
    "link_ask_again", "link_right", "link_refused", "link_over", "link_known", "link_danger",
    "consent_paper", "consent_class", "shared_for", "shared_or", "shared_ask",
)  # fmt: skip
NEEDED_REASONS = (
    "emergency", "self_harm", "exposure", "opt_out", "wrong_number", "reschedule", "question",
    "unread", "silent", "call_not_through", "coach_asked", "alert", "person_wanted",
)  # fmt: skip
FOLLOW_UP = "call_check"


def faults_in(
    directory: Path, today: date | None = None, languages: Iterable[str] = ()
) -> tuple[Fault, ...]:
    """Every fault of the content in `directory`, by file and line; none means it may go live.

    With `today`, content and sources past their review date are faults too. `languages` must be
    complete as well as English and Spanish: for one that is being added.
    """
    found = shelf(directory)
    wanted = tuple(dict.fromkeys((*LANGUAGES, *languages)))
    faults = [*found.faults, *_rules(directory), *_protocols(directory)]
    for talk, document in found.talks:
        faults.extend(_talk(talk, document, found, wanted))
    faults.extend(prompt_links(found))
    faults.extend(_own_protocols(directory, found))
    faults.extend(prompt_reach_faults(found))
    faults.extend(reason_links(found))
    faults.extend(_needed(found))
    faults.extend(answers_and_lexicon(directory, found))
    faults.extend(_heard(directory, found))
    if today is not None:
        faults.extend(_overdue(found, today))
    return tuple(sorted(set(faults)))


def _heard(directory: Path, found: Shelf) -> Iterator[Fault]:
    """Whether offered replies are understood; only where the content can be loaded at all."""
    try:
        flows = compiled(found)
        book, rules = book_of(found, flows), load_rules(directory)
    except ContentFaults as error:
        yield from error.faults
        return
    if (read := reader_of(directory)) is None:
        return
    for talk, document in found.talks:
        yield from reply_faults(flows[talk.flow], document, book, rules, read)


def _talk(
    talk: TalkModel, document: Document, found: Shelf, languages: tuple[str, ...]
) -> Iterator[Fault]:
    names = frozenset(found.facts[0].placeholders) if found.facts else frozenset()
    if Path(document.file).stem != talk.flow:
        what = f"the flow is called {talk.flow}, the file is not"
        yield document.fault("F025", ("flow",), what, f"Rename the file to {talk.flow}.yaml.")
    yield from shape_faults(talk, document)
    yield from text_faults(talk, document, names, languages)
    yield from ease_faults(talk, document, _examples(found))
    yield from talk_links(talk, document, found)
    yield from reach_faults(talk, document, found)
    if talk.flow in _alarm_flows(found):
        yield from alarm_faults(talk, document, FOLLOW_UP)


def _alarm_flows(found: Shelf) -> frozenset[str]:
    """Flows opened for a symptom; an emergency has its own follow-up in its own questions."""
    reasons = found.escalations[0].reasons.values() if found.escalations else ()
    return frozenset(r.flow for r in reasons if r.flow and r.severity != "emergency")


def _examples(found: Shelf) -> dict[str, str]:
    names = found.facts[0].placeholders if found.facts else {}
    return {name: placeholder.example for name, placeholder in names.items()}


def _rules(directory: Path) -> Iterator[Fault]:
    overlays = sorted((directory / "rules" / "surgeons").glob("*.yaml"))
    for overlay in (None, *(path.stem for path in overlays)):
        try:
            load_rules(directory, overlay)
        except ContentFaults as error:
            yield from error.faults


def _own_protocols(directory: Path, found: Shelf) -> Iterator[Fault]:
    """A countdown for one surgeon names one who has rules; a slip would leave it to nobody."""
    own = [pair for pair in found.protocols if pair[0].surgeon is not None]
    try:
        surgeons = {rules.surgeon for rules in own_rules(directory)} if own else set()
    except ContentFaults:
        return  # told among the faults of the rules
    for model, document in own:
        if model.surgeon not in surgeons:
            what = f"no rules are those of {model.surgeon}"
            mend = f"Write the name as in rules/: {', '.join(sorted(surgeons))}."
            yield document.fault("F022", ("surgeon",), what, mend)


def _protocols(directory: Path) -> Iterator[Fault]:
    try:
        load_protocols(directory)
    except ContentFaults as error:
        yield from error.faults


def _needed(found: Shelf) -> Iterator[Fault]:
    """Flows, lines and reasons without which the dialogue could not speak."""
    talks = {talk.flow: (talk, document) for talk, document in found.talks}
    for name in NEEDED_FLOWS:
        if name not in talks:
            place, mend = f"{found.root.name}/talks", f"Add talks/{name}.yaml."
            yield Fault(place, 1, "F061", f"no conversation {name}", mend)
    for name, lines in (("system", NEEDED_LINES), (HANDOUT, HANDOUT_LINES)):
        if name in talks:
            talk, document = talks[name]
            yield from _lacking(document, ("wording",), "line", lines, talk.wording)
    if found.escalations is not None:
        model, document = found.escalations
        names = (*NEEDED_REASONS, *(symptom.value for symptom in Symptom))
        yield from _lacking(document, ("reasons",), "reason", names, model.reasons)


def _lacking(
    document: Document,
    path: tuple[str, ...],
    kind: str,
    names: Iterable[str],
    there: Container[str],
) -> Iterator[Fault]:
    for name in names:
        if name not in there:
            what, mend = f"the chat needs the {kind} {name}", f"Add {path[0]}.{name}."
            yield document.fault("F062", path, what, mend)


def _overdue(found: Shelf, today: date) -> Iterator[Fault]:
    reviewed: list[tuple[TalkModel | ProtocolModel, Document]] = [*found.talks, *found.protocols]
    for model, document in reviewed:
        if model.review_by < today:
            what = f"was to be reviewed by {model.review_by}"
            mend = f"Ask {model.owner} to review it and set a new date."
            yield document.fault("F058", ("review_by",), what, mend)
    yield from _old_sources(found, today)


def _old_sources(found: Shelf, today: date) -> Iterator[Fault]:
    if found.sources is None:
        return
    model, document = found.sources
    for name, source in model.sources.items():
        if source.review_by is not None and source.review_by < today:
            what = f"the source {name} was to be looked at again by {source.review_by}"
            mend = "Look whether it still says so, and set a new date."
            yield document.fault("F058", (name,), what, mend)
