"""What staff do to a countdown by hand: pause, mark done, enter a medicine, bring back."""

from dataclasses import replace

from bot.core.consent import AGREED
from bot.core.conversation import Conversation, OpenQuestion, Say, TimeUp
from bot.core.dialogue_draft import SYSTEM, items_of
from bot.core.protocol import FactValue, MedicineHold
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.turns import take_turn
from bot.store import audit, items, outbox, patients
from bot.store.consents import Consent, note_consent


def pause(desk: Desk) -> None:
    """Staff stop the messages. An alarm that the patient writes is still dealt with."""
    outbox.withdraw(desk.connection, desk.patient, ("patient", "coach"), "paused", desk.now)
    held = replace(desk.chart.conversation, paused=True)
    take_turn(desk, TimeUp(), before=[Say("patient", SYSTEM, "paused")], conversation=held)
    audit.note(desk.connection, desk.staff, "paused", desk.patient, desk.now)


def resume(desk: Desk) -> None:
    """The messages go on; what came due meanwhile is planned anew or listed for the nurse."""
    going = replace(desk.chart.conversation, paused=False)
    told = [Say("patient", SYSTEM, "resumed")]
    take_turn(desk, TimeUp(), before=told, conversation=going, plan_anew=True)
    audit.note(desk.connection, desk.staff, "resumed", desk.patient, desk.now)


def opt_back_in(desk: Desk, wording: str) -> None:
    """The patient agreed, or came back, by telling staff, in these words.

    A no to the messages, or the question of consent still open, is settled by this; a pause by
    staff is not.
    """
    party = patients.address_of(desk.connection, desk.patient)
    if party is not None:
        patients.reopen_address(desk.connection, party)
        language = desk.chart.conversation.language
        note_consent(desk.connection, party, Consent("messages", True, wording, language, desk.now))
    refused = desk.chart.facts.get(AGREED) is False
    paused = desk.chart.conversation.paused and not refused
    patients.learn_fact(desk.connection, desk.patient, AGREED, True, desk.staff, desk.now)
    outbox.let_go(desk.connection, desk.patient, "coach", desk.now)
    chat = _without_question_about(desk, desk.chart.conversation, "consent")
    going = replace(chat, stopped=False, paused=paused)
    told = [Say("patient", SYSTEM, "back_on")]
    take_turn(desk, TimeUp(), before=told, conversation=going, plan_anew=True)
    audit.note(desk.connection, desk.staff, "opted back in", desk.patient, desk.now)


def mark_done(desk: Desk, item: str, value: str = "done") -> None:
    """The patient told staff by telephone. A question open about it is closed without a word."""
    operation = desk.chart.operation
    items.record_item(desk.connection, operation, item, value, desk.staff, desk.now)
    chat = _without_question_about(desk, desk.chart.conversation, item)
    after = load_chart(desk.connection, desk.practice, desk.patient)
    take_turn(replace(desk, chart=after), TimeUp(), conversation=chat, plan_anew=True)
    detail = {"item": item, "value": value}
    audit.note(desk.connection, desk.staff, "marked by telephone", desk.patient, desk.now, detail)


def _without_question_about(desk: Desk, chat: Conversation, item: str) -> Conversation:
    def is_about(question: OpenQuestion | None) -> bool:
        flow = desk.book.flows.get(question.flow) if question else None
        return flow is not None and question is not None and item in items_of(flow, question.values)

    return replace(
        chat,
        open=None if is_about(chat.open) else chat.open,
        interrupted=tuple(q for q in chat.interrupted if not is_about(q)),
    )


def enter_hold(desk: Desk, hold: MedicineHold) -> None:
    """Enter what a named prescriber said about a medicine, and plan its prompts."""
    if not hold.prescriber.strip():
        raise ValueError("A medicine hold needs its prescriber's name. Enter who decided it.")
    patients.put_hold(desk.connection, desk.patient, hold)
    _plan_anew(desk)
    audit.note(desk.connection, desk.staff, "entered a medicine hold", desk.patient, desk.now)


def enter_fact(desk: Desk, name: str, value: FactValue) -> None:
    """Enter one fact about the patient, and plan anew."""
    patients.learn_fact(desk.connection, desk.patient, name, value, desk.staff, desk.now)
    _plan_anew(desk)
    audit.note(
        desk.connection, desk.staff, "entered a fact", desk.patient, desk.now, {"fact": name}
    )


def _plan_anew(desk: Desk) -> None:
    after = load_chart(desk.connection, desk.practice, desk.patient)
    take_turn(replace(desk, chart=after), TimeUp(), plan_anew=True)
