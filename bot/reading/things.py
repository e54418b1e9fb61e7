"""Tells what has no part in the patient's health: "the ladder fell", "my truck coughs"."""

from collections.abc import Sequence
from itertools import takewhile

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set

_DETERMINERS = word_set(
    "mis sus nuestras nuestros the my our his her a an that this some el la los las mi un una ese "
    "esa big old whole"
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


_NOBODY = word_set(
    "sheep ewe ewes lamb lambs calves heifer heifers steer steers bulls foal colt filly piglet "
    "piglets sow hogs pigs hens chickens ducks geese turkeys rabbit rabbits hamster parakeet mules "
    "donkeys cattle livestock oveja ovejas borrego borregos cordero corderos vacas becerros "
    "ternero terneros toro toros puerco puercos cerdo cerdos marrana marrano cochino cochinos "
    "chivos chivito chivitos cabra cabras burra conejo conejos gallinas pollitos patos potro "
    "caballos perros gatos ganado animales animalitos "
    "dog dogs cat cats puppy kitten horse horses mare cow cows bull calf goat goats chicken hen "
    "rooster pig hog mule donkey bird parrot perro perra perrito perrita gato gata gatito gatita "
    "caballo yegua vaca becerro gallina gallo chivo burro mula loro perico truck car tractor "
    "engine motor combine mower lawnmower pickup van camioneta carro coche troca toilet sink "
    "faucet water shower drain pipe pipes furnace stove oven fridge refrigerator freezer "
    "dishwasher washer dryer phone cellphone computer tv television radio internet wifi battery "
    "weather traffic news precio precios price prices agua llave lavadora refri "
    "refrigerador estufa telefono celular computadora tele lluvia clima trafico"
)
_BETWEEN_SUBJECT = word_set(
    "has have had is are was were been got gets keeps always just been being s a an the some le "
    "all con worms salio salieron dio amanecio started getting came down y and estan andan "
    "les se un una unas unos tiene tienen esta estan anda trae estaba bad old sick hoof also"
)
_EQUALS = word_set("is are was es son era esta")
_ONLY = word_set("only unico unica thing things lo")
_NEAR = 6  # words


def are_meant(words: Sequence[Word], event: Match) -> bool:
    """True for what happens to a thing or a pet, never for self-harm."""
    of_things = of_nobody(words, event) and not event.concept.startswith("self_harm")
    return of_things or fell(words, event)


def of_nobody(words: Sequence[Word], event: Match) -> bool:
    """True for the cough of "my truck coughs" and the sick of "only thing sick is my truck"."""
    if event.concept in ("reading", "fever_reading"):
        return False
    at = event.start - 1
    while at >= 0 and event.start - at <= _NEAR and words[at].text in _BETWEEN_SUBJECT:
        at -= 1
    if at >= 0 and words[at].text in _NOBODY and _is_subject(words, at):
        return _STRUCK.isdisjoint(_told_on(words, event)) and not _is_of_a_leg(words, at, event)
    return _is_cleft(words, event)


def _told_on(words: Sequence[Word], event: Match) -> set[str]:
    """The words of the event and those behind it up to a comma or "but", without "I"."""
    behind = takewhile(_goes_on, words[event.end : event.end + 3])
    return {w.text for w in (*words[event.start : event.end], *behind)} - {"i"}


def _goes_on(word: Word) -> bool:
    return not word.separates and word.text not in ("but", "pero")


def _is_of_a_leg(words: Sequence[Word], at: int, event: Match) -> bool:
    """True for the calf of "my calf is swollen", which is a leg's."""
    herd = {w.text for w in words[max(0, at - 3) : at]} & _HERD
    return words[at].text in ("calf", "calves") and not (herd or event.concept in _OF_THE_WHOLE)


_HERD = word_set("one two some of three bull newborn baby")
_OF_THE_WHOLE = tuple(
    f"symptom.{name}" for name in ("diarrhea", "cough", "congestion", "vomiting", "fever")
)


def _is_subject(words: Sequence[Word], at: int) -> bool:
    """True when the noun opens its clause, with or without "the old" before it."""
    while at > 0 and words[at - 1].text in _DETERMINERS | _ONE_OF:
        at -= 1
    before = words[at - 1] if at else None
    return before is None or before.separates or before.text in _OPENS_CLAUSE


_ONE_OF = word_set(
    "one two three some couple few many half all of de uno una dos tres unos unas algunos barn"
)
_OPENS_CLAUSE = word_set("and but y pero no nope well al because so that a only")


def _is_cleft(words: Sequence[Word], event: Match) -> bool:
    """True when what follows says what it is: "the only thing sick is my old truck"."""
    before = [w.text for w in words[max(0, event.start - 3) : event.start]]
    if _ONLY.isdisjoint(before) and before[-2:] != ["el", "que"]:
        return False
    inside = [w.text for w in words[event.start : event.end + _NEAR]]
    equals = next((i for i, text in enumerate(inside) if text in _EQUALS), len(inside))
    return not _NOBODY.isdisjoint(inside[equals : equals + 5])
