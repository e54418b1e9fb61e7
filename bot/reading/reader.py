"""Reads one reply: a text plus the question that was open gives a Reading.

Order: emergency, alarm, opt-out, what the open question expects, what is understood but not
expected, unread. Pure and deterministic; nothing is learned, nothing leaves the machine.
"""

from dataclasses import replace

from bot.reading.accidental import without_accident
from bot.reading.expected import answer_to_question, is_chat, picked_plainly
from bot.reading.lexicon import Lexicon
from bot.reading.matching import Match
from bot.reading.net import caught_in_net, tells_of_a_slip
from bot.reading.numbers import find_numbers
from bot.reading.other_business import (
    befell_another,
    is_long_ago,
    is_measured_twice,
    is_told_of_family,
    not_an_answer,
)
from bot.reading.phrases import Word
from bot.reading.reading import Act, Asked, Reading
from bot.reading.scope import separators, settle
from bot.reading.specific import telling
from bot.reading.stray import without_strays
from bot.reading.temperature import Measured, Thresholds, find_temperatures
from bot.reading.tokens import QUESTION, plain, tokens
from bot.reading.understood import SYMPTOMS, Understood
from bot.reading.walk import Mention
from bot.reading.weather import of_bodies
from bot.reading.yes_and_no import SHORT_REPLY, says_no

__all__ = ["Thresholds", "read"]
DEFAULT_THRESHOLDS = Thresholds()


def read(
    text: str,
    asked: Asked,
    lexicon: Lexicon,
    *,
    language: str | None = None,
    thresholds: Thresholds = DEFAULT_THRESHOLDS,
) -> Reading:
    """What `text` means after the question `asked`. Every language of the lexicon is tried."""
    reply = understand(text, asked, lexicon, thresholds)
    found = [r for r in (_danger(reply), _alarm(reply), _opt_out(reply)) if r is not None]
    if not found:
        return caught_in_net(reply, without_accident(reply, _plain_meaning(reply)))
    return found[0] if len(found) == 1 else _joined(found)


def understand(text: str, asked: Asked, lexicon: Lexicon, thresholds: Thresholds) -> Understood:
    """Takes a reply apart into words, phrases, numbers, temperatures and scoped mentions."""
    words = tokens(plain(text, lexicon), lexicon)
    matches = without_strays(words, lexicon.matcher.find(words))
    numbers = find_numbers(words, lexicon.numbers)
    measured = find_temperatures(words, numbers, asked) if numbers else []
    if measured:
        measured = of_bodies(words, measured, matches, asked)
    walk = settle(words, _events(words, matches, measured, thresholds))
    return Understood(
        asked=asked,
        words=words,
        matches=matches,
        numbers=numbers,
        measured=measured,
        mentions=walk.mentions,
        hints=walk.hints,
        concepts=frozenset(m.concept for m in matches),
    )


def _events(
    words: list[Word], matches: list[Match], measured: list[Measured], thresholds: Thresholds
) -> list[Match]:
    """What the scope walk goes over, by place. A measured temperature outweighs "have a temp"."""
    events = [m for m in matches if m.layer > 0]
    if measured:
        events = _beside_measures(events, measured)
    events += separators(words)
    for m in measured:
        if m.temperature and m.bound != "under":
            fever = thresholds.is_fever(m.temperature)
            events.append(Match(m.start, m.end, "fever_reading" if fever else "reading"))
    events.sort(key=_by_place)
    return events


def _beside_measures(events: list[Match], measured: list[Measured]) -> list[Match]:
    """`events` without the words that only lead to a number or are a part of it."""
    if any(m.temperature for m in measured):
        events = [m for m in events if m.concept != "symptom.fever_if_unmeasured"]
        for question in [m for m in events if m.concept == "mod.asks_fever"]:
            events = [m for m in events if m.concept != "symptom.fever" or not _inside(m, question)]
    return [m for m in events if not (_is_symptom(m) and _are_tenths(m, measured))]


def _is_symptom(match: Match) -> bool:
    return match.concept.startswith("symptom.")


def _are_tenths(match: Match, measured: list[Measured]) -> bool:
    """True for the "decimas" of "36 y siete decimas", which alone are a slight fever, and for the
    "2 lineas" of "38 y 2 lineas", which alone are a test's."""
    return any(m.start < match.start and match.end <= m.end for m in measured)


def _inside(match: Match, outer: Match) -> bool:
    return outer.start <= match.start and match.end <= outer.end


def _by_place(match: Match) -> tuple[int, bool, int]:
    """Left to right; the "I'm" of "I'm sick" before what it opens."""
    opens = match.concept in ("mod.restart", "mod.restart_verb", "mod.dead")
    return match.start, not opens, -match.end


def _danger(reply: Understood) -> Reading | None:
    """Self-harm or an emergency."""
    mentions = [m for m in reply.mentions if m.holds]
    harm = [m for m in reply.mentions if m.concept == "self_harm" and m.stated]
    fell = any(m.concept == "symptom.fall" for m in mentions)
    long_ago = is_long_ago(reply)
    grave = [m for m in mentions if _is_grave(m, fell) and not (m.others and long_ago)]
    grave = [m for m in grave if not (befell_another(reply, m) or is_measured_twice(reply, m))]
    if harm:
        also = (Act.EMERGENCY,) if grave else ()
        because = _words([*harm, *grave])
        return Reading(
            Act.SELF_HARM, temperature=reply.temperature, alert=True, because=because, also=also
        )
    if not grave:
        return None
    return _about(Act.EMERGENCY, reply, grave, [m for m in mentions if not m.others])


def _is_grave(mention: Mention, fell: bool) -> bool:
    """An emergency; "can't walk" is one only after a fall, in people who wait for a new joint."""
    if not mention.concept.startswith("emergency."):
        return False
    if mention.concept == "emergency.injury_after_fall":
        return fell
    return True


def _alarm(reply: Understood) -> Reading | None:
    """Symptoms of the patient, then illness around them."""
    mentions = [m for m in reply.mentions if m.holds]
    own = [m for m in mentions if not m.others and m.concept in SYMPTOMS and not _is_idle(m)]
    exposed = [m for m in mentions if m.others and _may_spread(m, reply) and not is_long_ago(reply)]
    if own:
        reading = _about(Act.SYMPTOM, reply, own, own)
        return replace(reading, also=(Act.EXPOSURE,)) if exposed else reading
    if exposed:
        asked = reply.asked is Asked.TEMPERATURE  # "98.1 me, but my husband has the flu"
        measured = reply.temperature if asked else None
        return Reading(Act.EXPOSURE, temperature=measured, alert=True, because=_words(exposed))
    return None


def _may_spread(mention: Mention, reply: Understood) -> bool:
    """True for what is caught from others; asked for symptoms, "my sister" may be the patient."""
    perhaps = reply.asked is Asked.SYMPTOM_CHECK and not reply.says("act.no", "act.all_good")
    if befell_another(reply, mention):
        return False
    if mention.concept in _NOT_CAUGHT and not perhaps:
        return mention.recent and is_told_of_family(reply, mention)
    return True


_NOT_CAUGHT = {f"symptom.{name}" for name in ("fall", "skin_wound", "dental", "leg_swelling")}


def _is_idle(mention: Mention) -> bool:
    return mention.concept == "emergency.injury_after_fall"


def _about(act: Act, reply: Understood, why: list[Mention], said: list[Mention]) -> Reading:
    symptoms = dict.fromkeys(SYMPTOMS[m.concept] for m in telling(said) if m.concept in SYMPTOMS)
    return Reading(
        act,
        symptoms=tuple(symptoms),
        temperature=reply.temperature,
        alert=True,
        because=_words([*why, *said]),
    )


def _words(mentions: list[Mention]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(m.words for m in mentions))


def _opt_out(reply: Understood) -> Reading | None:
    if reply.whole_message("opt_out"):
        return Reading(Act.OPT_OUT, because=(reply.whole,))
    if reply.says("act.opt_out_words") or reply.own_clause("whole.opt_out"):
        return Reading(Act.OPT_OUT, because=reply.quote("act.opt_out_words", "whole.opt_out"))
    return None


def _joined(found: list[Reading]) -> Reading:
    """The gravest reading, with the others beside it."""
    first = found[0]
    beside = [a for r in found[1:] for a in (r.act, *r.also) if a not in (first.act, Act.SYMPTOM)]
    return replace(first, also=tuple(dict.fromkeys((*first.also, *beside))))


def _plain_meaning(reply: Understood) -> Reading:
    answer = picked_plainly(reply) or not_an_answer(reply) or answer_to_question(reply)
    reading = answer or _unexpected(reply)
    if reply.temperature and reading.temperature is None:
        reading = replace(reading, temperature=reply.temperature)
    if reply.asks and reading.act not in (Act.QUESTION, Act.UNCLEAR):
        return replace(reading, also=(*reading.also, Act.QUESTION))
    return reading


def _unexpected(reply: Understood) -> Reading:
    if tells_of_a_slip(reply):
        return Reading(Act.NOT_DONE, alert=True, because=reply.quote("act.still_taking"))
    for act, names in _UNEXPECTED:
        if act is Act.DENY and reply.asked is Asked.SYMPTOM_CHECK and not says_no(reply):
            continue  # "I can't hold my water"
        if reply.says(*names) and not is_chat(reply, act, names):
            return Reading(act, because=reply.quote(*names))
    if reply.says("act.yes_short") and len(reply.content) <= SHORT_REPLY:
        return Reading(Act.AFFIRM, because=(reply.whole,))
    if reply.temperature is not None:
        return Reading(Act.NUMBER, temperature=reply.temperature, because=(reply.whole,))
    if any(m.denied or m.gone for m in reply.mentions):
        return Reading(Act.ALL_CLEAR, because=_words(list(reply.mentions)))
    act = Act.QUESTION if QUESTION in reply.words and reply.whole else Act.UNCLEAR
    return Reading(act, because=(reply.whole[:80],) if reply.whole else ())


_UNEXPECTED: tuple[tuple[Act, tuple[str, ...]], ...] = (
    (Act.NOT_DONE, ("act.not_done",)),
    (Act.DENY, ("act.no",)),
    (Act.ALL_CLEAR, ("act.all_good",)),
    (Act.DONE, ("act.done", "act.stopped")),
    (Act.AFFIRM, ("mod.yes", "act.yes")),
)
