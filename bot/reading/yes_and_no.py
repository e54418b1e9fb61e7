"""Tells a yes from a no in a reply to "any symptoms?", and what a correction makes of them."""

from bot.reading.phrases import word_set
from bot.reading.reading import Act, Reading
from bot.reading.tokens import STOP
from bot.reading.understood import Understood

SHORT_REPLY = 2  # words


def says_no(reply: Understood) -> bool:
    """True for a no; the "I can't" of "I can't hold my water" is none."""
    for match in reply.matches:
        if match.concept == "act.no":
            after = reply.words[match.end] if match.end < len(reply.words) else STOP
            helps = reply.words[match.end - 1].text in _HELPING and match.end - match.start > 1
            if not helps or after.separates:
                return True
    return False


_HELPING = word_set("wont cant couldnt cannot")


def denies(reply: Understood) -> bool:
    """True when something is denied, over or past."""
    told = any(m.denied or m.gone or m.past for m in reply.mentions) or reply.says("mod.gone")
    return told or any(h.denied and h.concept == "unsure.distress" for h in reply.hints)


def corrected(reply: Understood) -> Reading | None:
    """What "oops, I meant no" and "well, actually yes" make of the answer before them."""
    turned = reply.says("act.actually_yes") and not yes_that_leads_on(reply)
    if turned and not _put_right_to_no(reply):
        return tells_of_symptoms(reply, "act.actually_yes")
    if turned or reply.says("act.actually_no") or _pressed_wrong(reply):
        because = reply.quote("act.actually_no", "act.no") or (reply.whole,)
        return Reading(Act.ALL_CLEAR, because=because)
    return tells_of_symptoms(reply, "mod.yes") if _takes_no_back(reply) else None


def _put_right_to_no(reply: Understood) -> bool:
    """True for "me equivoque, es que no": of a mistake put right the last answer counts."""
    said = {word for quoted in reply.quote("act.actually_yes") for word in quoted.split()}
    if not said <= _MISTAKE and not (said <= _MEANT_YES and reply.whole.startswith("no ")):
        return False
    return _last_answer(reply) == "no"


def _pressed_wrong(reply: Understood) -> bool:
    return reply.says("act.wrong_button") and _last_answer(reply) == "no"


def _takes_no_back(reply: Understood) -> bool:
    """True for "no, perdon, si": the yes ends the reply, behind a word that takes back."""
    texts = reply.whole.split()
    ends = texts[-1:] in (["si"], ["yes"]) and texts[:1] == ["no"]
    return ends and len(texts) <= LONGEST_CORRECTION and not _TAKES_BACK.isdisjoint(texts)


def _last_answer(reply: Understood) -> str:
    """ "yes" or "no", whichever was said last; "" when neither was."""
    names = {"act.no": "no", "act.all_good": "no", "mod.neg": "no", "mod.yes": "yes"}
    said = [(m.start, names[m.concept]) for m in reply.matches if m.concept in names]
    return max(said, default=(0, ""))[1]


_MISTAKE = word_set("corrijo correccion me equivoque mejor dicho perdon scratch that")
_MEANT_YES = word_set("quise decir si que")
_TAKES_BACK = word_set("perdon sorry digo wait espera oops corrijo mejor actually")
LONGEST_CORRECTION = 5  # words


def yes_of_the_past(reply: Understood) -> bool:
    """True for the yes of "not now, last year yes I had a fall": no yes to the question."""
    said = [m.end for m in reply.matches if m.concept == "mod.yes"]
    past = [m.start for m in reply.mentions if m.past and not m.holds]
    return bool(said) and all(any(0 <= at - end <= NEAR for at in past) for end in said)


NEAR = 3  # words


def yes_that_leads_on(reply: Understood) -> bool:
    """True for "hoy si ando bien" and "ahora si sin fiebre": no yes to a question."""
    for match in reply.matches:
        if match.concept == "act.actually_yes":
            last = reply.words[match.end - 1].text
            ahead = {w.text for w in reply.words[match.end : match.end + 2]}
            if last not in ("si", "yes") or ahead.isdisjoint(_LEADS_ON):
                return False
    told = reply.says("act.all_good", "act.no") or denies(reply)
    return told and reply.says("act.actually_yes")


_LEADS_ON = word_set("ando estoy amaneci me sin todo bien mejor im feeling fine better good sigo")


def says_yes(reply: Understood) -> bool:
    """True for a yes; "I do" and "right" count only when little else is said."""
    if reply.says("mod.yes", "act.yes") or reply.whole_message("yes"):
        return True
    return reply.says("act.yes_short") and len(reply.content) <= SHORT_REPLY


def tells_of_symptoms(reply: Understood, *names: str) -> Reading:
    """A yes to "any symptoms?": an alarm whose detail must be asked for."""
    return Reading(Act.SYMPTOM, alert=True, because=reply.quote(*names))
