"""Known faults, each put into the running service on purpose; the audit must see every one."""

from contextlib import suppress
from dataclasses import replace
from datetime import timedelta
from itertools import count

from sqlalchemy import bindparam, select
from sqlalchemy.exc import OperationalError

from bot.reading.reading import Act, Reading
from bot.service import cases, effects, inbound, mail, outbox, outcomes, rounds
from bot.store import claims, inbox, plans
from bot.store.prepared import Prepared
from bot.wiring import App


def unique_key_dropped(patch, practice):
    """A repeat from the provider is stored a second time."""
    real, numbers, seen = inbox.put_inbound, count(), set()

    def put(connection, values):
        key = values["provider_message_id"]
        if key in seen:
            values = {**values, "provider_message_id": f"{key}#{next(numbers)}"}
        seen.add(key)
        return real(connection, values)

    patch.setattr(inbox, "put_inbound", put)


def answer_not_recorded(patch, practice):
    """What was sent is not marked, so it is taken up again as left behind."""
    real = outcomes.accepted
    numbers = count()

    def accepted(practice, answers, now):
        real(practice, [answer for answer in answers if next(numbers) % 5], now)

    patch.setattr(outcomes, "accepted", accepted)


def error_swallowed(patch, practice):
    """A message is acknowledged although storing it failed, which it does every ninth time."""
    real, store, numbers = inbound.handle, inbox.put_inbound, count(1)

    def put(connection, values):
        if next(numbers) % 9 == 0:
            raise OperationalError("INSERT", {}, Exception("disk I/O error"))
        return store(connection, values)

    def handle(practice, incoming, now):
        with suppress(OperationalError):
            return real(practice, incoming, now)

    patch.setattr(inbox, "put_inbound", put)
    patch.setattr(inbound, "handle", handle)


def acknowledged_before_stored(patch, practice):
    """Every seventh message is acknowledged and then forgotten."""
    real, numbers = App.handle, count(1)
    patch.setattr(App, "handle", lambda app, got: next(numbers) % 7 and real(app, got))


def nurse_not_told(patch, practice):
    """A case is opened and no notice of it goes out."""
    real = cases.outbox.queue

    def queue(connection, message):
        return None if message.to_role == "nurse" else real(connection, message)

    patch.setattr(cases.outbox, "queue", queue)


def deaf_to_symptoms(patch, practice):
    """Every message is read as one that nobody understands."""
    return replace(practice, read=lambda text, asked, language: Reading(Act.UNCLEAR))


def newest_first(patch, practice):
    """The relay looks at no order and sends a batch from its end."""
    real, table = claims.claim, claims.OUTBOUND
    ready = (
        select(table)
        .where(table.c.state == "queued", table.c.queued_at <= bindparam("now"))
        .limit(bindparam("most"))
    )
    patch.setattr(claims, "_READY", Prepared(ready))
    patch.setattr(claims, "claim", lambda c, now, most: real(c, now, most)[::-1])


def local_time_for_utc(patch, practice):
    """Clock times of the hospital are taken for UTC."""
    real = plans.put_prompts

    def put(connection, operation, prompts, now):
        early = [replace(prompt, due=prompt.due - timedelta(hours=6)) for prompt in prompts]
        real(connection, operation, early, now)

    patch.setattr(plans, "put_prompts", put)


def refusal_taken_for_success(patch, practice):
    """What the provider refused counts as sent."""

    def refused(practice, message, now, fault, done):
        outcomes.accepted(practice, [(message, "p0")], now)

    patch.setattr(outbox, "refused", refused)


def stop_not_kept(patch, practice):
    """STOP is answered and then not kept."""
    real = rounds.load_charts

    def forgetful(connection, practice, whose):
        found = real(connection, practice, whose)
        return {
            patient: replace(chart, conversation=replace(chart.conversation, stopped=False))
            for patient, chart in found.items()
        }

    patch.setattr(effects, "_set_stopped", lambda desk, effect: None)
    patch.setattr(rounds, "load_charts", forgetful)


def same_prompt_in_two_messages(patch, practice):
    """Each message to a patient is put into the outbox twice, under two keys."""
    real = mail._queue

    def queue(desk, message):
        real(desk, message)
        if message.to_role == "patient":
            real(desk, replace(message, key=f"{message.key}.again"))

    patch.setattr(mail, "_queue", queue)


def telling_the_patient_not_noted(patch, practice):
    """The answer to an alarm never leaves."""
    real = mail.outbox.queue

    def queue(connection, message):
        silent = message.escalation is not None and message.to_role == "patient"
        return None if silent else real(connection, message)

    patch.setattr(mail.outbox, "queue", queue)


DEFECTS = {
    "unique_key_dropped": (unique_key_dropped, "doubled"),
    "answer_not_recorded": (answer_not_recorded, "doubled"),
    "error_swallowed": (error_swallowed, "lost"),
    "acknowledged_before_stored": (acknowledged_before_stored, "lost"),
    "nurse_not_told": (nurse_not_told, "alarms_unanswered"),
    "deaf_to_symptoms": (deaf_to_symptoms, "alarms_unanswered"),
    "newest_first": (newest_first, "out_of_order"),
    "local_time_for_utc": (local_time_for_utc, "at_wrong_times"),
    "refusal_taken_for_success": (refusal_taken_for_success, "lost"),
    "stop_not_kept": (stop_not_kept, "after_stop"),
    "same_prompt_in_two_messages": (same_prompt_in_two_messages, "doubled"),
    "telling_the_patient_not_noted": (telling_the_patient_not_noted, "alarms_unanswered"),
}
