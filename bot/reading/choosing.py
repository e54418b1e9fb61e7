"""Reads numbered choices: "2", "#2", "the second one", "1 and 3", "dos", "la primera"."""

import re

from bot.reading.phrases import word_set
from bot.reading.reading import Asked
from bot.reading.understood import Understood

LARGEST_CHOICE = 20
_ORDINALS = {
    "first": 1, "1st": 1, "primera": 1, "primero": 1, "primer": 1,
    "second": 2, "2nd": 2, "segunda": 2, "segundo": 2,
    "third": 3, "3rd": 3, "tercera": 3, "tercero": 3, "tercer": 3,
    "fourth": 4, "4th": 4, "cuarta": 4, "cuarto": 4,
    "fifth": 5, "5th": 5, "quinta": 5, "quinto": 5,
    "sixth": 6, "sexta": 6, "sexto": 6,
    "a": 0,
}  # fmt: skip
_AROUND = word_set(
    "the one number option choice answer is its my i choose pick and y la el opcion numero # num "
    "no would like want with go elijo escojo please por favor both st nd rd th a o or reply press "
    "esta este una uno de quiero respuesta contesto choose choices ones just pls plz thanks thank "
    "you gracias senorita senora senor dear maam sir ok numeros opciones las los puse pongo marco "
    "son answers mine would say guess think hon sweetie ambas ambos dos porfa porfis mijo mija "
    "mijita hija hijo should will quedo voy pues n elijo nomas entonces seria "
    "mejor lista segun muchas reckon he she says say said dice que chooses picks choose hermano "
    "hermana er make it id lets give me mi punto ponme ponle pongale deme dame diria con my mum "
    "dad mom her him us"
)
_SAID_AROUND = word_set(  # said around a choice that was asked for
    "ahi also am amiga amigo anoteme apunteme be best box bueno check choosing circle claro con "
    "creo dame darling daughter decidi decidimos definitely definitivamente deme dice digo dijo "
    "diria down duda either elegimos er escogemos fine first for gimme give going good gusta "
    "gustaria he hermana hermano honey hubby hun husband id ill im ire it item ive last let "
    "lets letter looks love ma make mama mark marque maybe me mi mom nena of okay okey papa "
    "para picking plus pongale pongame prefer prefiero probably put que quedamos reckon said "
    "says sea see selection senores she si sin sounds sure take taking tambien that thatd then "
    "there they tick ticking to tomo uh um us vale vote voto we well wife yeah yep yes yo"
)
_LISTED = re.compile(r"\d{1,2}(?:,\d{1,2})+\Z")  # "1,2,5"
_COUNTED = word_set("times days pills people weeks hours miles dias veces pastillas semanas horas")
_BOTH = ("los", "las")
_NOUN_ONE = word_set("one ones una uno")


def chosen(reply: Understood) -> tuple[int, ...]:
    """The choices made, in the order typed; () when the reply is more than a choice."""
    if tuple(word.text for word in reply.words[:2]) == ("no", "one"):
        return ()  # "no one" is nobody, not choice number one
    around = _AROUND | _SAID_AROUND if reply.asked is Asked.CHOICE else _AROUND
    numbers = {n.start: int(n.value) for n in reply.numbers if not n.decimal}
    inside = {i for n in reply.numbers for i in range(n.start, n.end)}
    picks: list[int] = []
    for at, word in enumerate(reply.words):
        before = reply.words[at - 1].text if at else ""
        if (picks and word.text in _NOUN_ONE) or (word.text == "dos" and before in _BOTH):
            continue
        here = _picked_at(at, word.text, numbers)
        if not here and at not in inside and word.text not in around and not word.separates:
            ends = reply.asked is Asked.CHOICE and picks and at + 1 == len(reply.words)
            if not ends or word.text in _COUNTED:
                return ()
        picks += here
    return tuple(dict.fromkeys(picks))


def _picked_at(at: int, text: str, numbers: dict[int, int]) -> list[int]:
    if _LISTED.match(text):
        picks = [int(part) for part in text.split(",")]
    else:
        picks = [numbers.get(at) or _ORDINALS.get(text) or 0]
    return picks if all(1 <= pick <= LARGEST_CHOICE for pick in picks) else []
