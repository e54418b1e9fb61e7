"""Tells a question about illness in general from one about an illness that is there.

"Is chest pain normal after surgery?" asks; "is my chest pain normal?" tells. In doubt it tells.
"""

from collections.abc import Sequence
from itertools import pairwise

from bot.reading.phrases import Word, word_set
from bot.reading.tokens import COMMA, QUESTION
from bot.reading.walk import Mention

_OPENERS = word_set(
    "is are will does do can could would what whats how when which if should am que cual cuanto "
    "cuanta cuantos cuantas cuales cuando como puede puedo pueden es son sera me y"
)
_LEADS_IN = word_set("a de en desde hasta con por para at from to for up")
_ASKED_FOR = word_set("que cual cuanto cuanta cuantos cuantas cuando donde what which how")
_ARTICLES = word_set("a an the una un la el los las")
_KIN = word_set(
    "mum mom dad husband wife son daughter grandkids grandson granddaughter sister brother mama "
    "papa esposo esposa marido hijo hija nieto nieta nietos hermano hermana mother father"
)
_PUT_OFF = word_set(
    "suspende suspenden suspendan cancela cancelan cancelen pospone posponen opera operan operaran "
    "aplazan aplaza cirugia operacion llamo aviso pasa"
)
_SUBJECT_VERBS = word_set("is are es son da dan causa causan provoca puede pueden")
_CLAIMS = word_set(
    "im ive my mine this these mi mis esta este estas estos estoy ando traigo sigo siento help "
    "helps stop rid treat someone somebody anyone anybody call called 911 take takes tomo "
    "toso ayuda alguien llamo llame quita quitar hoy today now tonight yesterday ayer anoche ahora"
)
_VERBS = word_set(
    "have had am feel felt keep woke fell got was cant hurt threw cough vomited took been think "
    "wheeze sneeze vomit puke itch bleed"
)
_NO_CLAIM_BEFORE_I = word_set(
    "will do should can could would did if whether when may does what once until before after"
)
_LATER = word_set("after afterwards following despues afterward")
_OWN_VERBS = word_set(
    "duele duelen siento arde arden pica pican salio salieron dio cai pego hincho quema falta"
)
_WHY_ASK = (
    ["why", "do", "you"],
    ["why", "does", "it"],
    ["how", "do", "you"],
    ["how", "do", "they"],
)
_DONE_TO_ME = word_set("operan operaran cancelan pueden puede van suspenden hacen dan daran va")
_SUBJECTS = word_set("i he she we it they my im hes shes")
_CAME_TO = word_set("acorde desperte reaccione volvi recorde supe")
_TELLERS = word_set("i she he we they")
_MODALS = word_set("should can could may might would will need do am")
_IF = word_set("if si")
_OWNERS = word_set("my mi")
_PLANS = word_set(
    "operation surgery procedure appointment date replacement cirugia operacion cita fecha"
)
_ASKS_WHAT = word_set(
    "hago hacer hacemos debo debe debemos puedo puede podemos pueden podria pasa pasaria "
    "significa es son seria tomo toma tomar tal hora horas dia dias fecha si cosa cosas quiere "
    "quieren hace como tan tanto medicina medicinas pastilla pastillas jabon ropa comer como "
    "llevo llevar traigo debia temperatura fiebre grado grados numero sintomas tiene tengo "
    "necesito necesita tipo clase"
)
_REPORTED = word_set("nomas solo nada todo anda esta tiene amanecio")
_LATELY = word_set("ayer anoche hoy ahora desde siento")
_IF_IT_BEFALLS = word_set("me le les se nos a mi alguien")
_SUPPOSING = word_set("si cuando if")
_STATES = word_set(
    "tengo estoy ando llevo traigo amaneci tuve sigo empece ive im theres hes shes vomite toso"
)
_HAVING = word_set("have has had am was got feel feels keep keeps woke started fell been cant")
_ASKS_ON = frozenset({("tengo", "que"), ("he", "de")})  # "he de avisar"
_NO_HABITS = word_set("debo puedo tengo vengo no lo voy")
_MUST = word_set("debo puedo llamo aviso quien hago cual donde cuanto cuantas cuantos")


def suppose_questions(words: Sequence[Word], mentions: Sequence[Mention]) -> None:
    """Marks what is only asked about in general. Self-harm and measured fevers always count."""
    if _asks_own_risk(words):
        for mention in mentions:
            mention.supposed = mention.supposed or mention.others
    for begin, end in _sentences(words):
        inside = [m for m in mentions if begin <= m.start < end and _may_be_asked(m)]
        if inside and _is_general(words, begin, end):
            for mention in inside:
                mention.supposed = True


def _asks_own_risk(words: Sequence[Word]) -> bool:
    """True for "my brother had a stroke in surgery, could that happen to me?": a thing of then."""
    texts = [w.text for w in words[-LONGEST_RISK:]]
    if not words or words[-1] is not QUESTION or not _HAPPENS.intersection(texts):
        return False
    named = _THAT.intersection(texts) and {"me", "mi"}.intersection(texts)
    told = {w.text for w in words}
    return bool(named) and not _BEFELL.isdisjoint(told) and _GOES_ON.isdisjoint(told)


LONGEST_RISK = 10  # words
_HAPPENS = word_set("happen pasar suceder ocurrir")
_THAT = word_set("that it same eso esto mismo")
_BEFELL = word_set("had died quedo dio tuvo murio got paso suffered went")
_GOES_ON = word_set("now is having ahora esta right today hoy just acaba i im tengo estoy")


def _may_be_asked(mention: Mention) -> bool:
    return mention.concept not in ("self_harm", "fever_reading")


def _sentences(words: Sequence[Word]) -> list[tuple[int, int]]:
    """Each sentence with the sign that ends it."""
    cuts = [i + 1 for i, w in enumerate(words) if w.separates and w is not COMMA]
    bounds = sorted({0, *cuts, len(words)})
    return list(pairwise(bounds))


def _is_general(words: Sequence[Word], begin: int, end: int) -> bool:
    texts = [w.text for w in words[begin:end] if not w.separates]
    asked = words[end - 1] is QUESTION
    if not texts or (_is_passed_on(texts) and not asked):
        return False
    if not (_opens(texts, asked) or _has_subject(texts, asked)):
        return False
    return not _claims(texts) and not _tells_behind(words[begin:end])


def _states(opening: str, following: str) -> bool:
    """True for the "I have" and "he tenido" that open a statement."""
    if (opening, following) in _ASKS_ON:
        return False
    own = opening in _STATES or (opening, following) == ("he", "tenido")
    return own or (opening in _SUBJECTS and following in _HAVING)


def _tells_behind(words: Sequence[Word]) -> bool:
    """True for "what should I do, I have been vomiting": a statement behind the question."""
    texts = [w.text for w in words]
    if not _IF.isdisjoint(texts):
        return False
    for at in range(1, len(texts) - 1):
        opening, following = texts[at], texts[at + 1]
        if following == "been" and opening in ("have", "has", "had") and "i" in texts[at - 2 : at]:
            return True
        if words[at - 1] is COMMA and _states(opening, following):
            return True
    return False


def _is_passed_on(texts: list[str]) -> bool:
    """True for "que nomas tiene calentura": what the patient says, passed on by another."""
    if texts[0] != "que" or len(texts) < 2:
        return False
    return texts[1] in _REPORTED or texts[1] not in _ASKS_WHAT


def _supposes(opening: str) -> bool:
    return opening in ("if", "si")


def _opens(texts: list[str], asked: bool) -> bool:
    second = texts[1] if len(texts) > 1 else ""
    if texts[0] == "si":  # "si me resfrio antes, se suspende?", not "si, tengo tos, que hago?"
        general = _LATELY.isdisjoint(texts) and not _PUT_OFF.isdisjoint(texts)
        return asked and second in _IF_IT_BEFALLS and general
    if texts[:3] in _WHY_ASK or texts[:3] == ["por", "que", "preguntan"]:
        return True
    if texts[0] == "me":
        return second in ("pueden", "puede") or (asked and second in _DONE_TO_ME)
    if texts[-2:] == ["que", "es"] or texts[-1] == "significa":
        return True
    if texts[0] in ("y", "es", "if", "como"):
        return asked or texts[:2] == ["como", "se"]
    if _tells_when_or_what(texts):
        return asked
    if texts[0] in _LEADS_IN:
        return second != "lo" and not _ASKED_FOR.isdisjoint(texts[1:4])  # "to lo que como"
    return texts[0] in _OPENERS and second not in ("be", "not")


def _tells_when_or_what(texts: list[str]) -> bool:
    """True for "when I pee it stings", "what she threw up", "desde que la tome sangro"."""
    second = texts[1] if len(texts) > 1 else ""
    if texts[0] == "what":
        return second in _TELLERS and _MODALS.isdisjoint(texts[2:3])
    since = texts[0] in ("desde", "hasta") and second == "que"
    since = since or (texts[0] == "cuando" and second in _CAME_TO)
    return since or (texts[0] == "when" and second in _SUBJECTS) or _tells_of_a_habit(texts)


def _tells_of_a_habit(texts: list[str]) -> bool:
    """True for "cuando orino me quema" and "cuando me levanto me mareo"."""
    if texts[0] != "cuando":
        return False
    verb = texts[2] if texts[1:2] == ["me"] and len(texts) > 2 else [*texts, ""][1]
    asks = not _MUST.isdisjoint(texts[2:])  # "cuando toso, a quien llamo"
    return verb.endswith("o") and verb not in _NO_HABITS and not asks


def _has_subject(texts: list[str], asked: bool) -> bool:
    """True for "una gripe es problema?", false for "the rash is that bad?"."""
    if not asked or texts[0] not in _ARTICLES:
        return False
    at = next((i for i, t in enumerate(texts) if t in _SUBJECT_VERBS), len(texts))
    return at + 1 < len(texts) and texts[at + 1] not in ("that", "this", "it", "eso", "esto")


def _claims(texts: list[str]) -> bool:
    if texts[:3] in _WHY_ASK:
        return "my" in texts
    later = not _LATER.isdisjoint(texts)
    if texts[:2] in (["is", "it"], ["es", "normal"], ["is", "this"]) and not later:
        return True
    if texts[:3] in (["is", "it", "normal"], ["is", "it", "ok"]) and "that" in texts[3:5]:
        return True
    if texts[:4] == ["what", "do", "i", "do"] or texts[:2] == ["que", "hago"]:
        return _IF.isdisjoint(texts)
    return any(_claims_at(texts, at) for at in range(len(texts)))


def _claims_at(texts: list[str], at: int) -> bool:
    text = texts[at]
    before = texts[at - 1] if at else ""
    following = texts[at + 1] if at + 1 < len(texts) else ""
    if text == "i":
        return before not in _NO_CLAIM_BEFORE_I and following in _VERBS
    if text in ("tengo", "estoy", "ando", "siento"):
        return before not in _SUPPOSING and texts[0] not in ("puedo",)
    if text in _OWNERS and (following in _PLANS or (following in _KIN and _supposes(texts[0]))):
        return False  # "would a cough put off my operation", "if my mum gets the flu"
    if text == "stop" and not _PLANS.isdisjoint(texts[at + 1 : at + 4]):
        return False  # "would a head cold stop the operation"
    if text == "my" and before in ("will", "would", "could", "can"):
        return _LATER.isdisjoint(texts)
    if text == "this" and before in ("from", "after", "before", "during"):
        return False
    return text in _CLAIMS or (text == "me" and following in _OWN_VERBS)
