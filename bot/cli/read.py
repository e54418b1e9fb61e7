"""`countdown read`: JSON lines in, readings out. A bad line gives an error, the rest go on."""

import json
import sys
from typing import Any

from bot.cli.medicines import medicines_or_stop
from bot.content.lexicon import load_lexicon
from bot.reading.lexicon import Lexicon
from bot.reading.reader import read as read_reply
from bot.reading.reading import Asked, Reading


def read() -> None:
    """Read JSON lines {"text", "lang", "asked"} on standard input and print one reading each."""
    medicines_or_stop()
    lexicon = load_lexicon()
    for number, line in enumerate(sys.stdin.buffer, start=1):
        if line.strip():
            print(json.dumps(answer(line, number, lexicon), ensure_ascii=False), flush=True)


def answer(line: bytes, number: int, lexicon: Lexicon) -> dict[str, Any]:
    """One line's reading as JSON, or what is wrong with the line."""
    try:
        request = json.loads(line)
        text, asked, language = _request(request)
    except (ValueError, RecursionError) as fault:
        return {"error": f"line {number}: {fault}", "line": number}
    return reading_json(read_reply(text, asked, lexicon, language=language))


def _request(request: object) -> tuple[str, Asked, str | None]:
    if not isinstance(request, dict):
        raise ValueError('not an object. Write {"text": "...", "lang": "en", "asked": "none"}.')
    text, language = request.get("text"), request.get("lang")
    if not isinstance(text, str):
        raise ValueError("`text` is missing or not text. Give the reply as a string.")
    if language not in (None, "en", "es"):
        raise ValueError(f"`lang` is {language!r}. Use en, es or null.")
    asked = request.get("asked", Asked.NONE.value)
    if asked not in [kind.value for kind in Asked]:
        known = ", ".join(kind.value for kind in Asked)
        raise ValueError(f"`asked` is {asked!r}. Use one of {known}.")
    return text, Asked(asked), language


def reading_json(reading: Reading) -> dict[str, Any]:
    """A reading in the form of the command's contract."""
    return {
        "act": reading.act.value,
        "symptoms": [symptom.value for symptom in reading.symptoms],
        "temperature_c": reading.temperature.celsius if reading.temperature else None,
        "choices": list(reading.choices) or None,
        "alert": reading.alert,
        "because": list(reading.because),
        "also": [act.value for act in reading.also],
    }
