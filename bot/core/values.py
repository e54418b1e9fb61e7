"""What the placeholders of a text say: clock times with their weekday, names, numbers to call.

The reader never has to do arithmetic: clock time and weekday, noon and midnight in words (CDC Clear
Communication Index, 2014, numbers items; from memory). Only plain spaces are used, because one
no-break space turns a text message into the dear alphabet.
"""

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from functools import lru_cache

from babel.dates import format_date, format_skeleton, format_time

from bot.core.arrival import arrival
from bot.core.countdown import comes_twice, local
from bot.core.fasting import cut_offs, start_of
from bot.core.protocol import Rules, Surgery
from bot.core.same import Same

_DATE = {"en": "EEEE, MMMM d", "es": "EEEE d 'de' MMMM"}
_WORDS = {
    "en": {"hip": "hip", "knee": "knee", "left": "left", "right": "right"},
    "es": {"hip": "cadera", "knee": "rodilla", "left": "izquierda", "right": "derecha"},
}
_NOT_SET = {"en": "not set yet", "es": "sin hora todavía"}
_FIRST_OF_TWO = {"en": " (before the clocks go back)", "es": " (antes de atrasar el reloj)"}
_DATED = ("day", "last_dose")  # part values that are stored as ISO text


def surgery_values(rules: Rules, surgery: Surgery, language: str) -> Mapping[str, str]:
    """Give the ready-to-print values that hang on the hospital's rules and the surgery.

    A further value of the rules named `x_es` replaces `x` in Spanish. A language without words
    of its own here takes them from the rules (`knee_vi`, `left_vi`, `not_set_vi`), so that adding
    one needs no code; dates and times are babel's.
    """
    return _surgery_values(Same(rules), surgery, language)


@lru_cache(maxsize=4096)
def _surgery_values(same: Same[Rules], surgery: Surgery, language: str) -> Mapping[str, str]:
    rules = same.it
    return {
        **_hospital_values(rules),
        **_time_values(rules, surgery, language),
        "surgery_day": weekday(surgery.on, language),
        "surgery_date": long_date(surgery.on, language),
        "joint": _word(surgery.joint, rules, language),
        "side": _word(surgery.side, rules, language),
        **_in_language(rules.values, language),
    }


def _word(name: str, rules: Rules, language: str) -> str:
    found = _WORDS.get(language, {}).get(name) or rules.values.get(f"{name}_{language}")
    return found or _WORDS["en"].get(name, name)


def hospital_values(rules: Rules, language: str) -> dict[str, str]:
    """Give what can be said to anyone, without a patient: the hospital's name and telephones."""
    return {**_hospital_values(rules), **_in_language(rules.values, language)}


def part_values(values: Mapping[str, str], language: str) -> dict[str, str]:
    """Give the ready-to-print values of one planned part: its ISO dates become words."""
    return {
        name: _dated(text, language) if name in _DATED and text else text
        for name, text in values.items()
    }


def moment_words(moment: datetime, zone: str, language: str) -> str:
    """Say an instant as clock time and weekday, such as "11:30 PM Sunday night"."""
    here = local(moment, zone)
    twice = comes_twice(moment, zone) and here.fold == 0
    said = clock_words(here.date(), here.time(), language)
    return said + (_FIRST_OF_TWO.get(language, _FIRST_OF_TWO["en"]) if twice else "")


def clock_words(on: date, at: time, language: str) -> str:
    """Say a local clock time with its weekday.

    Midnight belongs to the night that people call it by: 00:00 on Monday is Sunday night. Where
    there are no words for that it is a minute earlier, which no one takes for another day.
    """
    if language not in _WORDS:
        return _elsewhere(on, at, language)
    if (at.hour, at.minute) == (0, 0):
        night_of = weekday(on - timedelta(days=1), language)
        return f"midnight {night_of} night" if language == "en" else f"medianoche del {night_of}"
    day = weekday(on, language)
    return _english(day, at) if language == "en" else _spanish(day, at)


def _elsewhere(on: date, at: time, language: str) -> str:
    if (at.hour, at.minute) == (0, 0):
        on, at = on - timedelta(days=1), time(23, 59)
    said = format_time(at, "short", locale=language).replace("\u202f", " ").replace("\xa0", " ")
    return f"{said} {weekday(on, language)}"


@lru_cache(maxsize=4096)
def weekday(on: date, language: str) -> str:
    """Name the day of the week."""
    return format_date(on, "EEEE", locale=language)


@lru_cache(maxsize=4096)
def long_date(on: date, language: str) -> str:
    """Say weekday, month and day."""
    if language not in _DATE:
        return str(format_skeleton("MMMMEEEEd", on, locale=language))
    return format_date(on, _DATE[language], locale=language)


@lru_cache(maxsize=4096)
def dated(on: date, language: str) -> str:
    """Say weekday, day, month and year, for what is kept on paper."""
    return format_date(on, "full", locale=language)


def _english(day: str, at: time) -> str:
    if (at.hour, at.minute) == (12, 0):
        return f"12 noon {day}"
    clock = f"{_twelve(at)} {'AM' if at.hour < 12 else 'PM'}"
    if at.hour < 5:
        return f"{clock} early {day} morning"
    return f"{clock} {day} night" if at.hour >= 21 else f"{clock} {day}"


def _spanish(day: str, at: time) -> str:
    if (at.hour, at.minute) == (12, 0):
        return f"12 del mediodía del {day}"
    if at.hour < 5:
        part = "madrugada"
    elif at.hour < 12:
        part = "mañana"
    else:
        part = "tarde" if at.hour < 20 else "noche"
    return f"{_twelve(at)} de la {part} del {day}"


def _twelve(at: time) -> str:
    return f"{at.hour % 12 or 12}:{at.minute:02}"


def _time_values(rules: Rules, surgery: Surgery, language: str) -> dict[str, str]:
    arriving, fasting = arrival(rules, surgery), cut_offs(rules, surgery)
    moments = {
        "start_time": start_of(surgery),
        "arrival_time": arriving.at if arriving else None,
        "food_until": fasting.food if fasting else None,
        "light_meal_until": fasting.light_meal if fasting else None,
        "drink_until": fasting.drink if fasting else None,
        "gum_mints_until": fasting.gum_mints if fasting else None,
    }
    return {
        name: moment_words(moment, surgery.zone, language) if moment else _not_set(rules, language)
        for name, moment in moments.items()
    }


def _not_set(rules: Rules, language: str) -> str:
    own = _NOT_SET.get(language) or rules.values.get(f"not_set_{language}")
    return own or _NOT_SET["en"]


def _hospital_values(rules: Rules) -> dict[str, str]:
    phones = rules.phones
    return {
        "hospital": rules.hospital,
        "surgeon": rules.surgeon,
        "office_phone": phones.office,
        "after_hours_phone": phones.after_hours,
        "nurse_phone": phones.nurse,
        "emergency_phone": phones.emergency,
        "crisis_phone": phones.crisis,
        "wash_product": rules.wash_product,
        "wash_minutes": rules.wash_minutes,
        "wash_count": str(len(rules.wash_days)),
    }


def _in_language(values: Mapping[str, str], language: str) -> dict[str, str]:
    ending = f"_{language}"
    own = {name.removesuffix(ending): v for name, v in values.items() if name.endswith(ending)}
    plain = {name: v for name, v in values.items() if name[-3:] not in ("_en", "_es")}
    return plain | own


def _dated(text: str, language: str) -> str:
    """Say a stored date, or date and time, in words; other text stays as it was entered."""
    try:
        entered = datetime.fromisoformat(text)
    except ValueError:
        return text
    said = long_date(entered.date(), language)
    if "T" not in text:
        return said
    clock = entered.time()
    if language not in _WORDS:
        return f"{said}, {format_time(clock, 'short', locale=language)}"
    if language == "en":
        return f"{said}, {_english('', clock).strip()}"
    return f"{said}, {_spanish('', clock).removesuffix(' del ')}"
