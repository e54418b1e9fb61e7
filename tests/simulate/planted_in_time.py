"""Known faults of time, consent and standing still, put into the running service on purpose."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from bot.channels.base import Outgoing, SendFailed
from bot.core import placing, plan
from bot.core.facts import wanted
from bot.core.occurrences import occurrences
from bot.core.protocol import Anchor
from bot.service import (
    cases,
    chart,
    dispatch,
    effects,
    mail,
    outbox,
    overdue,
    planning,
    rounds,
)  # fmt: skip
from bot.store import claims, conversations, firing, items, plans

LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)


def send_before_commit(patch, practice):
    """The provider is called while the claim is not committed yet."""
    real, channel_of = claims.claim, {}
    relay = outbox.relay

    def remember(practice, channels, now, *rest):
        channel_of.update(channels)
        return relay(practice, channels, now, *rest)

    def claim(connection, now, most):
        batch, taken = real(connection, now, most), []
        for message in batch:
            out = Outgoing(message.key, message.address, message.text, message.choices)
            try:
                channel_of[message.channel].send(out)
            except SendFailed:
                continue
            taken.append(message)
        return taken

    def send(channels, message, answers, done):
        answers.add(message, "p0")

    patch.setattr(outbox, "relay", remember)
    patch.setattr(claims, "claim", claim)
    patch.setattr(outbox, "_send", send)


def retry_under_a_new_key(patch, practice):
    """Each try goes to the provider under a key of its own, so it cannot know a repeat."""

    def outgoing(key, address, text, choices):
        tries[key] = tries.get(key, 0) + 1
        return Outgoing(f"{key}#{tries[key]}", address, text, choices)

    tries = {}
    patch.setattr(outbox, "Outgoing", outgoing)


def never_climbing(patch, practice):
    """Nobody else is told when a case is not taken up in time."""
    patch.setattr(overdue, "climb_all", lambda practice, now, failed: 0)
    patch.setattr(dispatch.overdue, "climb_all", lambda practice, now, failed: 0)


def climbing_to_the_same(patch, practice):
    """Past its time a case is announced to the same person again, for ever."""
    patch.setattr(cases, "_whom", lambda case, contacts, *, onward: contacts[0])


def forgotten_by_the_scheduler(patch, practice):
    """Prompts of every third patient are passed over when they are due."""
    pick = dispatch._PROMPTS.pick

    def passing_over(connection, now, after, most):
        while found := pick(connection, now, after, most):
            if kept := [each for each in found if each.patient % 3]:
                return kept
            after = found[-1]
        return []

    patch.setattr(dispatch, "_PROMPTS", replace(dispatch._PROMPTS, pick=passing_over))


def never_planned(patch, practice):
    """The plan of every second patient is lost on its way into the store."""
    real = plans.put_prompts

    def put(connection, operation, prompts, now):
        if operation.patient % 2:
            real(connection, operation, prompts, now)

    patch.setattr(plans, "put_prompts", put)


def left_by_a_dead_sender(patch, practice):
    """What a sender that died had claimed is never taken up."""
    patch.setattr(outbox, "_take_up_left_behind", lambda practice, now, done: None)


def stale_prompt_sent(patch, practice):
    """What could not be asked in its time is asked afterwards all the same."""
    fate, event, open_until = dispatch._fate, dispatch._event, timedelta(days=3)

    def later(prompt):
        return replace(prompt, closes=prompt.closes + open_until, late=dispatch.Late.SEND)

    patch.setattr(dispatch, "_fate", lambda p, parts, c, now: fate(later(p), parts, c, now))
    patch.setattr(dispatch, "_event", lambda p, parts: event(later(p), parts))
    patch.setattr(dispatch, "_for", lambda desk, prompt: replace(desk, prompt=prompt.key))


def redating_keeps_old_times(patch, practice):
    """When the surgery moves, the prompts of the old date stay."""
    patch.setattr(plans, "withdraw_prompts", lambda connection, *rest: None)
    patch.setattr(plans, "retime_prompts", lambda connection, *rest: None)


def coach_gets_the_words(patch, practice):
    """Whatever the patient allowed, the coach reads what the patient wrote."""
    real = mail._copied

    def copied(desk, copy, line, coach):
        say = real(desk, copy, line, coach)
        return say if desk.heard is None else replace(say, text=desk.heard.text)

    patch.setattr(mail, "_copied", copied)


def coach_before_joining(patch, practice):
    """An invited coach gets copies without having agreed."""
    patch.setattr(chart.Chart, "active_coaches", property(lambda chart: chart.coaches))


def wash_recorded_twice(patch, practice):
    """One answer counts for the next wash as well."""
    real = items.record_item

    def record(connection, operation, name, value, by, now):
        real(connection, operation, name, value, by, now)
        if name.startswith("wash_") and name[5:].isdigit():
            real(connection, operation, f"wash_{int(name[5:]) + 1}", value, by, now)

    patch.setattr(items, "record_item", record)


def quiet_hours_ignored(patch, practice):
    """Prompts come at night, asked for or not."""
    patch.setattr(placing, "is_quiet", lambda moment, zone, rules: False)


def opt_out_honoured_late(patch, practice):
    """A STOP is kept from the next day on."""
    real = rounds.load_charts

    def forgetting(found, patient):
        talk, now = found.conversation, dispatch_now[0]
        since = outs.setdefault(patient, now) if talk.stopped else outs.pop(patient, None)
        fresh = talk.stopped and now - since < timedelta(days=1)
        return replace(found, conversation=replace(talk, stopped=talk.stopped and not fresh))

    def lenient(connection, practice, whose):
        found = real(connection, practice, whose)
        return {patient: forgetting(chart, patient) for patient, chart in found.items()}

    def tick(practice, now, *most):
        dispatch_now[0] = now
        return real_tick(practice, now, *most)

    outs, dispatch_now, real_tick = {}, [LONG_AGO], dispatch.tick
    patch.setattr(dispatch, "tick", tick)
    patch.setattr(rounds, "load_charts", lenient)
    patch.setattr(effects, "_close_address", lambda desk, wrong: None)
    patch.setattr(planning, "may_differ", lambda before, after: False)


def clock_change_forgotten(patch, practice):
    """Days are counted as 24 hours from enrolment: after a clock change all is an hour off."""

    def fixed(prompt, rules, candidate, surgery):
        here = placing.local_date(candidate.enrolled_at, surgery.zone)
        for each in occurrences(prompt, rules, candidate, surgery):
            days = prompt.when.anchor in (Anchor.SURGERY_DATE, Anchor.WASH_DAY)
            if days and each.due is not None and prompt.when.at is not None:
                noon = plan.instant(here, prompt.when.at, surgery.zone)
                day = placing.local_date(each.due, surgery.zone)
                due = noon + timedelta(days=(day - here).days)
                each = replace(each, due=due, closes=each.closes + (due - each.due))
            yield each

    patch.setattr(plan, "occurrences", fixed)


def prompts_before_consent(patch, practice):
    """Nobody waits for a yes."""
    patch.setattr(planning, "must_be_asked", lambda facts: False)


def condition_ignored(patch, practice):
    """What is meant for some patients goes to all."""
    patch.setattr(plan, "wanted", lambda only_if, not_if, facts: wanted((), (), facts))


def never_marked(patch, practice):
    """A prompt is handled and stays due."""
    patch.setattr(firing, "claim_all", lambda *rest: None)


def timer_never_cleared(patch, practice):
    """The clock of every chat rings again at once, whatever the chat said."""
    real = conversations._saved

    def saved(chat):
        return real((*chat[:3], LONG_AGO))

    patch.setattr(conversations, "_saved", saved)


IN_TIME = {
    "send_before_commit": (send_before_commit, "doubled"),
    "retry_under_a_new_key": (retry_under_a_new_key, "doubled"),
    "never_climbing": (never_climbing, "stuck"),
    "climbing_to_the_same": (climbing_to_the_same, "alarms_unanswered"),
    "forgotten_by_the_scheduler": (forgotten_by_the_scheduler, "stuck"),
    "never_planned": (never_planned, "not_asked"),
    "left_by_a_dead_sender": (left_by_a_dead_sender, "stuck"),
    "stale_prompt_sent": (stale_prompt_sent, "stale"),
    "redating_keeps_old_times": (redating_keeps_old_times, "at_wrong_times"),
    "coach_gets_the_words": (coach_gets_the_words, "without_consent"),
    "coach_before_joining": (coach_before_joining, "without_consent"),
    "wash_recorded_twice": (wash_recorded_twice, "doubled"),
    "quiet_hours_ignored": (quiet_hours_ignored, "at_wrong_times"),
    "opt_out_honoured_late": (opt_out_honoured_late, "after_stop"),
    "clock_change_forgotten": (clock_change_forgotten, "not_asked"),
    "prompts_before_consent": (prompts_before_consent, "without_consent"),
    "condition_ignored": (condition_ignored, "at_wrong_times"),
    "never_marked": (never_marked, "stuck"),
    "timer_never_cleared": (timer_never_cleared, "stuck"),
}
