"""What a reply says besides an answer: a wrong number, a moved date, a cry for help, a question."""

from bot.reading.people import CARED_FOR
from bot.reading.phrases import word_set
from bot.reading.reading import Act, Asked, Reading
from bot.reading.tokens import QUESTION, STOP
from bot.reading.understood import Understood
from bot.reading.walk import Mention


def is_long_ago(reply: Understood) -> bool:
    """True when someone else's illness is told as history."""
    return reply.says("mod.past") and not reply.says("mod.recent", "mod.still")


def befell_another(reply: Understood, mention: Mention) -> bool:
    """True for the arm of "nothing here, my wife broke her arm": none of it is the patient's.

    What goes on now, whoever has it, stays an emergency.
    """
    if not mention.others or not mention.concept.startswith("emergency."):
        return False
    clear = (m for m in reply.matches if m.concept in ("act.all_good", "act.no"))
    said = next((m for m in clear if m.end <= mention.start), None)
    if said is None or said.start > OPENING:
        return False
    near = range(said.end, said.end + OPENING + 1)
    turn = next((i for i in near if reply.words[i].separates), None)
    if turn is None:
        return False
    told = {w.text for w in reply.words[turn : mention.end]}
    return bool(told & _BEFELL) and not told & _GOES_ON


def is_told_of_family(reply: Understood, mention: Mention) -> bool:
    """True for "my husband fell today": he may be the patient whose telephone this is.

    Not where the writer speaks of their own answer too: "yes, washed; my husband fell".
    """
    if reply.asked is not Asked.NONE or reply.says("act.all_good", "act.no", "act.done"):
        return False
    return any(w.text in CARED_FOR for w in reply.words[: mention.end])


def is_measured_twice(reply: Understood, mention: Mention) -> bool:
    """True for "38,9, ya la tome dos veces": the temperature was taken twice, no medicine."""
    if reply.asked is not Asked.TEMPERATURE or mention.concept != "emergency.poisoning":
        return False
    again = not _TIMES.isdisjoint(mention.words.split())
    return again and bool(reply.measured) and not reply.says("unsure.medicine")


_TIMES = word_set("veces times twice")
OPENING = 2  # words
_BEFELL = word_set("had broke broken fell got suffered dio quebro rompio partio tuvo fracturo pego")
_GOES_ON = word_set(
    "now just is having cant today ahora acaba hoy no esta ahorita i im ive me yo he she"
)


def not_an_answer(reply: Understood) -> Reading | None:
    """What is plain whatever was asked: a wrong number, a moved date, a cry for help."""
    died = reply.says("act.died") and not is_long_ago(reply)
    if died or (reply.says("act.wrong_number_words") and not _is_wrong_button(reply)):
        because = reply.quote("act.died", "act.wrong_number_words")
        return Reading(Act.WRONG_NUMBER, alert=died, because=because)
    if (reply.asks or _wonders(reply)) and any(m.supposed for m in reply.mentions):
        return Reading(Act.QUESTION, because=(reply.whole,))
    if (dose := _dose_told_as_question(reply)) is not None:
        return dose
    moves = ("act.reschedule_words", "act.no_ride")
    if reply.says(*(moves[:1] if reply.asked is Asked.YES_NO else moves)):
        return Reading(Act.RESCHEDULE, because=reply.quote(*moves))
    helped = reply.says("act.help_words") and not _helps_itself(reply)
    if reply.whole_message("help") or helped or reply.whole == "":
        return _help_or_nothing(reply)
    if reply.whole_message("opt_in") or reply.says("act.opt_in_words"):
        return Reading(Act.OPT_IN, because=(reply.whole,))
    if _is_question(reply):
        return Reading(
            Act.QUESTION,
            because=reply.quote("act.question", "act.question_start") or (reply.whole,),
        )
    return None


def _is_wrong_button(reply: Understood) -> bool:
    """True for "I meant NO, pressed wrong one"."""
    return reply.asked is Asked.SYMPTOM_CHECK and reply.says("act.wrong_button")


def _helps_itself(reply: Understood) -> bool:
    """True for "couldn't manage without the diclofenac so I am still on it": an answer first."""
    if reply.asked is Asked.MEDICINE_STOP:
        return reply.says("act.still_taking") and not reply.says("act.call_me")
    if reply.asked is Asked.WASH:
        return reply.opens_with("act.not_done")
    return reply.asked is Asked.YES_NO and reply.opens_with("mod.yes")


def _wonders(reply: Understood) -> bool:
    """True for "y si amanezco con tos" without its question mark."""
    return tuple(w.text for w in reply.words[:2]) in _WHAT_IFS


_WHAT_IFS = frozenset({("y", "si"), ("what", "if"), ("and", "if"), ("pero", "si"), ("but", "if")})


def _dose_told_as_question(reply: Understood) -> Reading | None:
    """ "I took my blood thinner this morning, was that wrong?": it was taken, whatever is asked."""
    if reply.asked not in (Asked.NONE, Asked.MEDICINE_STOP) or not reply.asks:
        return None
    if not reply.says("act.still_taking") or not reply.says("unsure.medicine"):
        return None
    texts = [w.text for w in reply.words]
    told = next((i for i, text in enumerate(texts) if i and _took(texts, i)), 0)
    if not told or not _NOT_YET.isdisjoint(texts[:told]):
        return None
    because = reply.quote("act.still_taking")
    return Reading(Act.NOT_DONE, alert=True, because=because, also=(Act.QUESTION,))


def _took(texts: list[str], at: int) -> bool:
    return (texts[at] in _TOOK and texts[at - 1] in _TAKER) or (
        texts[at] in ("tome", "tomo", "tomado") and texts[at - 1] in ("me", "ya", "he", "la")
    )


_TOOK = word_set("took taken swallowed had popped")
_TAKER = word_set("i ive already just he she hes shes accidentally still mom dad have")
_NOT_YET = word_set("if should can could may must would when what how si cuando puedo debo")


def _is_question(reply: Understood) -> bool:
    """True for a question that is not an answer with a question behind it."""
    if not reply.asks:
        return False
    told = reply.asked is Asked.MEDICINE_STOP and reply.says("act.still_taking", "act.stopped")
    if told and reply.words[-1] is not QUESTION and not reply.opens_with("mod.suppose"):
        return False  # "What? I've been taking it every day"
    if reply.words[-1] is QUESTION and reply.opens_with("act.question_opener"):
        return True
    if reply.asked is Asked.WASH and _is_one_question(reply):
        return True
    plain = _plainly_asked(reply)
    if plain is not None:
        return plain
    acts = (m for m in reply.matches if m.concept.startswith("act."))
    first = next((m for m in acts if m.concept not in _NO_ANSWER), None)
    return first is None or first.concept in ("act.question", "act.question_start")


_NO_ANSWER = frozenset({"act.polite", "act.thanks", "act.question_opener"})


def _plainly_asked(reply: Understood) -> bool | None:
    """What the open question makes of the form of the reply; None when it settles nothing."""
    if reply.asked is Asked.MEDICINE_STOP:
        return _asks_whether(reply) or None
    if reply.asked is Asked.SYMPTOM_CHECK:
        return False if _answers_itself(reply) else None
    if reply.asked is Asked.TEMPERATURE and _asks_behind_a_reading(reply):
        return False
    return (reply.asked in (Asked.WASH, Asked.TEMPERATURE) and _asks_about_later(reply)) or None


def _asks_whether(reply: Understood) -> bool:
    """True for "la metformina la dejo o no?" and "el paracetamol si se puede?"."""
    tail = tuple(w.text for w in reply.content[-2:])
    return reply.words[-1] is QUESTION and tail in _WHETHER


_WHETHER = frozenset({("o", "no"), ("or", "not"), ("or", "no"), ("se", "puede"), ("se", "toma")})


def _asks_behind_a_reading(reply: Understood) -> bool:
    """True for "98.2 f. Do I take it again tonight"."""
    read = next((m.end for m in reply.measured if m.temperature), 0)
    return bool(read) and reply.words[read : read + 1] == [STOP]


def _asks_about_later(reply: Understood) -> bool:
    """True for "despues del bano puedo usar talco": the "after" of a question is no "not yet"."""
    later = set(reply.quote("act.not_done")) <= {"despues", "luego", "after", "later"}
    return later and not reply.says("act.done", "act.no") and reply.temperature is None


def _answers_itself(reply: Understood) -> bool:
    """True for "any rash? no there is not"."""
    denied = any(m.denied for m in reply.mentions) and all(not m.holds for m in reply.mentions)
    return denied and reply.says("act.no") and reply.words[-1] is not QUESTION


def _is_one_question(reply: Understood) -> bool:
    """True for "me bano con agua fria?", which is no answer though it says "me bano"."""
    marks = [word for word in reply.words if word.separates]
    answered = any(reply.opens_with(f"act.{name}") for name in ("yes", "no", "done", "all_good"))
    return marks == [QUESTION] and reply.words[-1] is QUESTION and not answered


def _help_or_nothing(reply: Understood) -> Reading | None:
    if reply.whole:
        return Reading(Act.HELP, because=(reply.whole,))
    return Reading(Act.HELP, because=("?",)) if reply.asks else None
