"""Tells what fell: "the ladder fell" is no fall of the patient."""

from collections.abc import Sequence

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set

_DETERMINERS = word_set(
    "the my our his her a an that this some el la los las mi un una ese esa big old whole"
)
_BEFORE_PLACES = word_set(
    "on in at down from off over by to into onto near outside inside past up with out of for "
    "en de del al por desde sobre contra con"
)
_OFTEN_BETWEEN = word_set("just almost has had then also nearly finally se")
_STRUCK = frozenset({"my", "me", "i", "mi", "head", "skull", "face", "cabeza", "cara"})
THINGS = word_set(
    "ladder fence gate barn shed roof ceiling wall tree trees limb limbs branch branches leaf "
    "leaves picture pictures painting frame mirror shelf shelves clock lamp light lights "
    "curtain curtains blinds vase plate plates dish dishes cup cups glass glasses bowl pot pan "
    "kettle jar bottle box boxes book books phone cellphone remote tv television radio computer "
    "laptop tablet battery keys wallet purse cane walker crutch hat cap ring earring necklace "
    "hearing tooth filling crown button cake pie turkey bread eggs milk soup supper plant "
    "plants flower flowers pumpkin apple apples tomato tomatoes acorn acorns snow rain ice hail "
    "temperature temperatures price prices stock stocks market sales signal call line power "
    "internet wifi schedule deal sign pole tent umbrella swing chair table couch bookcase "
    "cabinet door window screen tile tiles gutter shingle shingles brick bricks rock rocks tire "
    "wheel muffler bumper mailbox flag birdhouse feeder nest egg dog cat puppy kitten horse cow "
    "goat chicken bird squirrel cushion pillow blanket towel soap shampoo escalera cerca barda "
    "techo pared arbol arboles rama ramas hoja hojas cuadro espejo repisa reloj lampara foco "
    "cortina florero plato platos taza vaso olla frasco caja libro libros telefono celular "
    "control tele television llave llaves lentes anillo arete boton pastel sopa planta maceta "
    "flor nieve lluvia granizo temperatura precio precios bolsa senal llamada luz sistema poste "
    "letrero silla mesa puerta ventana teja tejas piedra llanta perro gato caballo gallina "
    "pajaro cojin toalla jabon internet"
)


def fell(words: Sequence[Word], event: Match) -> bool:
    """True when a thing or a pet stands as the subject of a fall, with "the" or "my" before it."""
    if event.concept not in ("symptom.fall", "emergency.injury"):
        return False
    after = {word.text for word in words[event.start : event.end + 5]}
    if not after.isdisjoint(_STRUCK):
        return False  # "climbing the ladder fell on my hip", "the picture fell on me"
    at = event.start - 1
    while at > 0 and words[at].text in _OFTEN_BETWEEN:
        at -= 1
    if at < 1 or words[at].text not in THINGS or words[at - 1].text not in _DETERMINERS:
        return False
    return at < 2 or words[at - 2].text not in _BEFORE_PLACES
