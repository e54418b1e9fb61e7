"""What a reply means as an answer to the question that was open."""

from bot.reading.choosing import chosen
from bot.reading.phrases import word_set
from bot.reading.reading import Act, Asked, Reading, Symptom
from bot.reading.stopping import is_not_stopped, told_the_last
from bot.reading.understood import Understood
from bot.reading.yes_and_no import (
    SHORT_REPLY,
    corrected,
    denies,
    says_no,
    says_yes,
    tells_of_symptoms,
    yes_of_the_past,
    yes_that_leads_on,
)


def answer_to_question(reply: Understood) -> Reading | None:
    """The reply as an answer to what was asked; None when it is not one."""
    reader = _READERS.get(reply.asked)
    reading = reader(reply) if reader is not None else None
    if reading is None and (picks := chosen(reply)) and _takes_choices(reply):
        return Reading(Act.CHOICE, choices=picks, because=(reply.whole,))
    return reading


def picked_plainly(reply: Understood) -> Reading | None:
    """The choice in "put me down for 2", whatever else "put me down" may mean."""
    return _picked(reply) if reply.asked is Asked.CHOICE else None


def _takes_choices(reply: Understood) -> bool:
    return reply.asked is not Asked.TEMPERATURE and reply.asked is not Asked.NONE


def is_chat(reply: Understood, act: Act, names: tuple[str, ...]) -> bool:
    """True for a "done", "good" or "ok" that nothing was asked about: "my chest xray is done"."""
    if reply.asked is Asked.SYMPTOM_CHECK and act in (Act.DONE, Act.NOT_DONE):
        return len(reply.content) > SHORT_REPLY and not _speaks_of_a_task(reply)
    if reply.asked is not Asked.NONE:
        return False
    if act in (Act.DONE, Act.NOT_DONE):
        return not _speaks_of_a_task(reply)
    if act is Act.ALL_CLEAR:
        said = {word for quoted in reply.quote(*names) for word in quoted.split()}
        return _OF_ONESELF.isdisjoint(said) or len(reply.content) > LONGEST_ALL_CLEAR
    return len(reply.content) > SHORT_REPLY + 1 or reply.says("act.thanks")


def _speaks_of_a_task(reply: Understood) -> bool:
    """True when a wash or the stopping of a medicine is named."""
    stopped = reply.says("act.stopped") and reply.says("unsure.medicine")
    return stopped or not _TASKS.isdisjoint(reply.whole.split())


_TASKS = word_set(
    "wash washed washing shower showered bath bathed bathe soap scrub bane bano banar lave lavado "
    "ducha duche jabon banado banada listo done finished"
)
_OF_ONESELF = word_set(
    "im am feel feeling feelin felt doing estoy me siento ando todo all everything no nothing sin "
    "sigo amaneci symptoms never still doin staying sigue anda wrong"
)
LONGEST_ALL_CLEAR = 8  # words


def _picked(reply: Understood) -> Reading | None:
    picks = chosen(reply)
    return Reading(Act.CHOICE, choices=picks, because=(reply.whole,)) if picks else None


def _symptom_check(reply: Understood) -> Reading | None:
    if (pick := _picked(reply)) is not None:
        return pick
    if reply.whole_message("unwell"):
        return Reading(Act.SYMPTOM, (Symptom.UNWELL,), alert=True, because=(reply.whole,))
    supposed = reply.says("mod.suppose") and any(m.supposed for m in reply.mentions)
    yes = says_yes(reply) and not _only_ok(reply) and not supposed
    yes = yes and not yes_that_leads_on(reply) and not yes_of_the_past(reply)
    no, good = says_no(reply), reply.says("act.all_good")
    denied = denies(reply)
    if (right := corrected(reply)) is not None:
        return right
    if yes and denied and not good:
        return Reading(Act.UNCLEAR, because=(reply.whole,))
    if reply.says("act.dont_know") and not (good or denied or yes):
        return None
    if good or no or denied:
        because = reply.quote("act.all_good", "act.no") or (reply.whole,)
        return Reading(Act.ALL_CLEAR, because=because)
    if yes and reply.whole != "thumbsup":
        return tells_of_symptoms(reply, "mod.yes", "act.yes", "act.yes_short")
    return None


def _only_ok(reply: Understood) -> bool:
    return set(reply.whole.split()) <= _OK


_OK = word_set("ok okay k kk okey vale bueno thanks thank you gracias")


def _wash(reply: Understood) -> Reading | None:
    if (pick := _picked(reply)) is not None:
        return pick
    done = reply.says("act.done")
    if done and set(reply.quote("act.not_done")) <= _BARE_NOTS:
        return Reading(Act.DONE, because=reply.quote("act.done"))  # "washed, it didn't sting"
    if reply.says("act.not_done") or (reply.says("act.no") and not done):
        return Reading(Act.NOT_DONE, because=reply.quote("act.not_done", "act.no"))
    if reply.says("act.done") or (says_yes(reply) and not _only_ok(reply)):
        return Reading(Act.DONE, because=reply.quote("act.done", "mod.yes", "act.yes"))
    return None


_BARE_NOTS = word_set("didnt havent hasnt cant couldnt")


def _kept_as_told(reply: Understood) -> bool:
    """True for "stopped all but what you said to keep"; never so with a blood thinner."""
    words = set(reply.whole.split())
    if not reply.says("act.told_to_keep") or reply.says("act.still_taking"):
        return False
    told = reply.says("act.stopped", "act.done", "act.yes_short") or says_yes(reply)
    stopped = told or bool(words & _LEFT)
    return stopped and bool(words & _ALL_ELSE) and not words & _THINNERS


_ALL_ELSE = word_set(
    "only just all todo everything rest except others besides todo todas demas solo"
)
_LEFT = word_set("kept left deje quedo quede")
_THINNERS = word_set(
    "thinner thinners warfarin aspirin clopidogrel apixaban rivaroxaban dabigatran prasugrel "
    "ticagrelor edoxaban aspirina anticoagulante anticoagulantes warfarina"
)


def _medicine_stop(reply: Understood) -> Reading | None:
    if (pick := _picked(reply)) is not None:
        return pick
    if _kept_as_told(reply):
        return Reading(Act.DONE, because=reply.quote("act.stopped", "act.done", "act.yes_short"))
    if told_the_last(reply):
        return Reading(Act.DONE, because=(reply.whole,))
    taking = ("act.still_taking", "act.told_to_keep")
    goes_on = reply.says("act.not_done") and not reply.says("act.stopped")
    if reply.says(*taking) or is_not_stopped(reply) or goes_on:
        return Reading(Act.NOT_DONE, alert=True, because=reply.quote(*taking, "act.not_done"))
    stopped = reply.says("act.stopped")
    if stopped or reply.says("act.done"):
        return Reading(Act.DONE, because=reply.quote("act.stopped", "act.done"))
    if reply.says("act.no"):
        return Reading(Act.NOT_DONE, alert=True, because=reply.quote("act.no"))
    if says_yes(reply) and not _only_ok(reply):
        return Reading(Act.DONE, because=reply.quote("mod.yes", "act.yes"))
    return None


def _yes_no(reply: Understood) -> Reading | None:
    if reply.says("act.actually_no"):
        return Reading(Act.DENY, because=reply.quote("act.actually_no"))
    if reply.whole_message("yes"):
        return Reading(Act.AFFIRM, because=(reply.whole,))
    if (pick := _picked(reply)) is not None and reply.numbers:
        return pick
    if reply.says("act.dont_know"):
        return None
    if reply.says("act.no", "act.no_ride", "act.not_arranged") or reply.whole_message("no"):
        return Reading(Act.DENY, because=reply.quote("act.no") or (reply.whole,))
    good = ("act.arranged", "act.yes_short", "act.all_good", "act.done")
    if says_yes(reply) or reply.says(*good):
        return Reading(Act.AFFIRM, because=reply.quote("mod.yes", "act.yes", *good))
    if reply.says("act.not_done"):
        return Reading(Act.DENY, because=reply.quote("act.not_done"))
    return None


def _temperature(reply: Understood) -> Reading | None:
    if (temperature := reply.temperature) is not None:
        return Reading(Act.NUMBER, temperature=temperature, because=(reply.whole,))
    if any(m.temperature is None for m in reply.measured):
        odd = tuple(m.typed for m in reply.measured if m.temperature is None)
        return Reading(Act.UNCLEAR, because=odd)
    if reply.whole_message("high"):
        return Reading(Act.SYMPTOM, (Symptom.FEVER,), alert=True, because=(reply.whole,))
    if reply.says("act.all_good") or any(m.denied for m in reply.mentions):
        return Reading(Act.ALL_CLEAR, because=reply.quote("act.all_good") or (reply.whole,))
    return None


def _choice(reply: Understood) -> Reading | None:
    if (pick := _picked(reply)) is not None or len(reply.content) > SHORT_REPLY:
        return pick
    return Reading(Act.DENY, because=(reply.whole,)) if reply.says("act.no", "mod.neg") else None


_READERS = {
    Asked.SYMPTOM_CHECK: _symptom_check,
    Asked.WASH: _wash,
    Asked.MEDICINE_STOP: _medicine_stop,
    Asked.YES_NO: _yes_no,
    Asked.TEMPERATURE: _temperature,
    Asked.CHOICE: _choice,
}
