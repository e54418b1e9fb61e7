"""How far a "no" reaches: which words may stand between it and what it denies."""

from rapidfuzz.distance import OSA

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set
from bot.reading.walk import Walk

NEGATION_REACH = 7  # words between a "no" and what it denies


def reaches(walk: Walk, event: Match) -> bool:
    """True when nothing but fillers stands between the "no" and what it denies."""
    between = walk.words[walk.no_end : event.start]
    if len(between) > NEGATION_REACH:
        return False
    strange = [w for w in between if not w.separates and w.text not in FILLERS]
    return not strange or (len(strange) == 1 and _is_meant_as_filler(strange[0]))


def _is_meant_as_filler(word: Word) -> bool:
    """True for one adjective, and for the "teno" of "no teno fiebre"."""
    if word.text.endswith(_ADJECTIVES):
        return True
    slip = len(word.text) >= SHORTEST_VERB and not word.slots
    return slip and any(OSA.distance(word.text, verb, score_cutoff=1) <= 1 for verb in _HAVING)


SHORTEST_VERB = 3  # letters
_HAVING = (
    "have", "having", "got", "feel", "tengo", "tiene", "tuve", "tenido", "siento", "sentido",
)  # fmt: skip


LISTED_WITH = word_set(
    "pain pains problem problems issue issues symptom symptoms discomfort swelling redness "
    "soreness aches complaints trouble changes drainage allergies sickness illness tenderness "
    "dolor dolores molestia molestias sintoma sintomas problemas hinchazon alergias nada "
    "nothing none"
)


FILLERS = LISTED_WITH | word_set(
    "any a an the of real really much more had have has been having feel feeling felt seen "
    "notice noticed noticing got get getting gotten experienced experiencing see sign signs "
    "kind type sort bad severe high new recent other active at all to my in single bit little "
    "slight slightest hint trace evidence even ever either like such running run developed "
    "develop developing showing show with from for current currently right now today yet still "
    "whatsoever actual and or nor also obvious visible unusual major serious strange acute "
    "sudden significant known anymore i do does here is are house home family wet dry "
    "productive mild small big large deep open fresh red sore hot cold low flu covid else wrong "
    "come comes down so much as lick peep speck "
    "ill sick pedal nasal oral skin leg itchy dental urinary watery bloody "
    "persistent frequent stained tinged exhibit exhibits indication dull sensation lower upper "
    "llega llego reach reaches reached amount amounts count counts cuenta tenga diga "
    "tiene tienen tuve tuvo tenia tenido tenemos tuvimos han hemos habia haya hubo le les nos se "
    "presentado presenta padece sufre noto nota notado visto siente sienten sentia da dan dio dado "
    "salio salido aparecido estado esta estan anda "
    "e tengo he ha tenido sentido presentado presento ningun ninguna tipo de "
    "clase algun alguna muy tan la el los las un una unos unas en mi me ni o y haya hay siento "
    "presenta presento refiere refiero reporta manifiesta muestra datos evidencia "
    "sufro padezco mucho mucha problema para con por signos senales"
)


# "no episodic fever": one adjective may stand before what is denied.
_ADJECTIVES = ("al", "ic", "ive", "ent", "ant", "ous", "ary", "able", "ible", "less", "wer", "ico")
