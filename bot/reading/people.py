"""Whose body a reply speaks of: the patient's, someone else's, or nobody's.

The writer may be the patient or a helper. "My husband has the flu" is about someone else, but a
helper's "this is her daughter, my mom has a cough" is about the patient. So is "mi mama tiene tos"
alone: patients are 55 to 90, and it is their children who write of a mother. It is not when the
writer speaks of their own health or of living together.
"""

from collections.abc import Sequence

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set
from bot.reading.walk import Walk

_PARENTS = word_set(
    "mom moms mama mamas mami mamita mother mothers mum dad dads papa papas papi papito father "
    "fathers grandma grandpa grandmother grandfather granny abuela abuelo abuelita abuelito "
    "abuelos suegra suegro madre padre law mil fil viejita viejito jefita jefito tata nana"
)
_OF_ONESELF = word_set(
    "i im ive id me myself mine yo tengo estoy ando traigo conmigo siento us nosotros duermo vivo "
    "we were both ours"
)
_TOGETHER = word_set(
    "live lives living room roommate visiting visit visited same mismo misma juntos juntas house "
    "vive viven duermen cuarto conmigo visita visitando casa contagious contagio contagioso"
)
CARED_FOR = _PARENTS | word_set(
    "husband husbands wife wifes hubby spouse esposo esposa marido mujer senora senor aunt uncle "
    "tia tio partner sister brother hermana hermano viejo vieja"
)
_TELLS_OF_HELP = word_set(
    "checked took asked think thought found wanted know worried writing texting noticed saw gave "
    "put am"
)


def other(walk: Walk, event: Match) -> None:
    if walk.helper_end == event.end or _is_a_verb(walk, event) or _reports(walk, event):
        return
    if is_of_patient(walk, event):
        walk.others = walk.pets = False
        return
    walk.cared_for = any(w.text in CARED_FOR for w in walk.words[event.start : event.end])
    walk.others = walk.antecedent = True
    walk.other_end = event.end
    if walk.divided:
        walk.no = 0


def _is_a_verb(walk: Walk, event: Match) -> bool:
    """True for the Spanish "son" of "ahora son 38"."""
    if walk.words[event.start].text != "son" or event.end - event.start > 1:
        return False
    around = walk.words[max(0, event.start - 1) : event.end + 1]
    return any(w.text in _SPANISH or w.text[:1].isdigit() for w in around)


_SPANISH = word_set(
    "que no y ya solo perdon mal ahora ahorita hoy las los de muy como unos unas puros treinta "
    "noventa cien ciento cuarenta"
)


def _reports(walk: Walk, event: Match) -> bool:
    """True for the granddaughter of "dice mi nieta que tengo fiebre", who only says so."""
    before = [w.text for w in walk.words[max(0, event.start - 2) : event.start]]
    after = walk.words[event.end].text if event.end < len(walk.words) else ""
    return after == "que" and ("dice" in before or "dijo" in before)


def pet(walk: Walk, event: Match) -> None:
    walk.pets = True


def gave(walk: Walk, event: Match) -> None:
    before = walk.words[event.start - 1].text if event.start else ""
    if walk.words[event.start].text == "from" and before in _CAME:
        return  # "came home from work with a fever"
    walk.caught = True


_CAME = word_set("home back came called flew visiting up down over away returned")


def caught_from(walk: Walk, event: Match) -> None:
    walk.caught = walk.caught or not walk.others  # "my wife caught a cold" is hers


def pronoun(walk: Walk, event: Match) -> None:
    walk.others = walk.antecedent
    if walk.divided:
        walk.no = 0


def speaks(walk: Walk, event: Match) -> None:
    if walk.dead and walk.words[event.start].text == "tenia":
        return  # "mi esposo, que en paz descanse, tenia tos"
    walk.story = walk.dead = False
    _names_self(walk, event)
    if is_left_out(walk, event) or _is_spoken_to(walk, event):
        return
    if event.start >= walk.other_end and not _in_relative_clause(walk, event):
        walk.others = False


def _names_self(walk: Walk, event: Match) -> None:
    """ "It's me that's got the cough" and "la que tose soy yo": not the dog's, nor a friend's."""
    back = ["", *(w.text for w in walk.words[max(0, event.start - 2) : event.start])]
    if walk.words[event.start].text not in ("me", "yo") or back[-1] not in _IT_IS:
        return
    if back[-2] == "no":
        return
    walk.pets = walk.others = False
    for mention in walk.mentions[-2:]:
        if back[-1] == "soy" and event.start - mention.end <= 2:
            mention.supposed = mention.others = False


_IT_IS = word_set("its thats soy")


def is_left_out(walk: Walk, event: Match) -> bool:
    """True for the "yo" of "todos menos yo" and the "me" of "everyone but me"."""
    return event.start > 0 and walk.words[event.start - 1].text in _BUT


_BUT = word_set("but except besides menos excepto salvo")


def _is_spoken_to(walk: Walk, event: Match) -> bool:
    """True for the "me" of "mi vecina me dice que tiene gripa" and "in bed beside me"."""
    if event.start and walk.words[event.start - 1].text in _BESIDE:
        return True
    after = walk.words[event.end].text if event.end < len(walk.words) else ""
    return walk.words[event.start].text == "me" and after in _DONE_BY_OTHERS


_BESIDE = word_set("beside near around behind alongside")
_DONE_BY_OTHERS = word_set(
    "habla hablo dice dijo llama llamo conto cuenta avisa aviso cuida ayuda trajo trae lleva llevo "
    "manda mando escribe escribio visita visito acompana"
)


def _in_relative_clause(walk: Walk, event: Match) -> bool:
    """True for the "nosotros" of "mi comadre que vive con nosotros tiene gripa"."""
    if not walk.others or event.start - walk.other_end > LONGEST_CLAUSE:
        return False
    return walk.words[walk.other_end].text in _WHO


LONGEST_CLAUSE = 5  # words
_WHO = word_set("que who that whom quien")


def tells_as_helper(walk: Walk, event: Match) -> None:
    """ "This is her daughter": what follows is told of the patient."""
    walk.helper = True
    walk.helper_end = event.end


def is_caught(walk: Walk, event: Match) -> bool:
    """True for the covid of "my mom has covid": a nurse asks whether it was caught."""
    named = {w.text for w in walk.words[event.start : event.end]}
    if event.concept != "symptom.unwell" and not named & {"shingles"}:
        return False
    if "with" in named:  # "came down with the flu"
        named |= {w.text for w in walk.words[event.end : event.end + 3]}
    if named.isdisjoint(_CAUGHT):
        return False
    return walk.parent or _is_of_a_stranger(walk, event) or _is_of_company(walk, event)


def _is_of_company(walk: Walk, event: Match) -> bool:
    """True for "tested positive, we share a cab": the illness of someone the writer was near."""
    back = [w.text for w in walk.words[max(0, event.start - 4) : event.end]]
    if not _HIMSELF.isdisjoint(back) or not _OWN_RESULT.isdisjoint(back):
        return False
    return any(w.text in _NEAR for w in walk.words)


_OWN_RESULT = word_set("di sali resulte my mi we")
_NEAR = word_set(
    "share shared sharing sat slept held hugged kiss kissed rode junto juntos juntas dormimo "
    "dormimos almorzando almorzamos comimos sente lado lao cuidando abrace"
)


def _is_of_a_stranger(walk: Walk, event: Match) -> bool:
    """True for "my sternman tested positive": a noun we do not know as the subject of "has"."""
    begin = walk.clause_starts[-1]
    while begin < event.start and walk.words[begin].separates:
        begin += 1
    back = [w.text for w in walk.words[max(begin - 1, event.start - LONGEST_SUBJECT) : event.end]]
    owner = next((i for i, t in enumerate(back) if t in ("my", "our", "the", "mi", "la", "el")), -1)
    if owner < 0 or not _HIMSELF.isdisjoint(back[owner:]):
        return False
    return not _HAS_IT.isdisjoint(back[owner + 2 :]) and _TESTS.isdisjoint(back)


LONGEST_SUBJECT = 12  # words
_HAS_IT = word_set("has have tested popped diagnosed caught got down tiene tienen trae dio")
_HIMSELF = word_set("i ive im me yo tengo estoy")
_TESTS = word_set(
    "test tests swab culture results result doctor dr nurse body lungs house prueba resultado "
    "doctora enfermera examen"
)


_CAUGHT = word_set(
    "covid flu influenza strep virus gripa gripe rsv coronavirus rona positive positivo positiva "
    "norovirus shingles pox"
)


def is_of_patient(walk: Walk, event: Match) -> bool:
    """True for the "my mom" of a helper, who speaks of the patient by that name."""
    named = {w.text for w in walk.words[event.start : event.end]}
    if "patient" in named or "paciente" in named or _is_called_patient(walk.words, event.end):
        return True
    if walk.helper:
        return not named.isdisjoint(CARED_FOR)
    walk.parent = not named.isdisjoint(_PARENTS)
    return walk.parent and not _speaks_of_self(walk)


def _is_called_patient(words: Sequence[Word], end: int) -> bool:
    """True for "my wife (the patient)" and "mi marido, el paciente"."""
    ahead = [w.text for w in words[end : end + 4]]
    return "patient" in ahead or "paciente" in ahead


def is_taken_for_patient(walk: Walk, event: Match) -> bool:
    """True for the 38.5 of "mi marido tiene 38,5": who takes it says nothing of themselves."""
    measured = event.concept in ("reading", "fever_reading")
    return measured and walk.cared_for and not _speaks_of_self(walk)


def _speaks_of_self(walk: Walk) -> bool:
    """True when the writer tells of their own health or of a shared house."""
    if walk.speaks_of_self is None:
        walk.speaks_of_self = _told_of_self(walk)
    return walk.speaks_of_self


def _told_of_self(walk: Walk) -> bool:
    if any(m.concept in ("mod.writer",) for m in walk.events):
        return False
    texts = [w.text for w in walk.words]
    if any(t in _TOGETHER for t in texts) or texts[:1] in (["no"], ["nope"], ["nada"], ["none"]):
        return True
    return any(
        t in _OF_ONESELF and (at + 1 == len(texts) or texts[at + 1] not in _TELLS_OF_HELP)
        for at, t in enumerate(texts)
    )
