"""Checks of the questions and answers and of the lexicon, and the reader made from it."""

import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

from bot.content.answers import load_answers
from bot.content.check_replies import Reader
from bot.content.faults import ContentFaults, Fault
from bot.content.lexicon import LEXICON_DIR, LexiconFault, load_lexicon
from bot.content.load import Shelf
from bot.reading.lexicon import Lexicon
from bot.reading.reader import read
from bot.reading.reading import Asked, Reading

_PLACE = re.compile(r"^(?P<file>.+?):(?P<line>\d+): (?P<what>.+?)\.(?: (?P<mend>.+))?$")


def answers_and_lexicon(directory: Path, found: Shelf) -> Iterator[Fault]:
    """What is wrong with answers.yaml and lexicon/, where the directory has them."""
    page = directory / "answers.yaml"
    if page.exists() and found.sources and found.facts:
        examples = {name: p.example for name, p in found.facts[0].placeholders.items()}
        try:
            load_answers(page, sources=found.sources[0].sources, placeholders=examples)
        except ContentFaults as error:
            for fault in error.faults:
                shown = f"{directory.name}/{fault.file}"
                yield Fault(shown, fault.line, fault.code, fault.what, fault.mend)
    try:
        load_lexicon(_lexicon(directory), _names_nothing)
    except LexiconFault as error:
        yield from _lexicon_faults(str(error), directory)


def _lexicon(directory: Path) -> Path:
    """The directory's own lexicon, or the one that ships."""
    own = directory / "lexicon"
    return own if own.exists() else LEXICON_DIR


def _lexicon_faults(message: str, directory: Path) -> Iterator[Fault]:
    for line in message.splitlines():
        found = _PLACE.match(line)
        if found is None:
            yield Fault(f"{directory.name}/lexicon", 1, "F095", line.rstrip("."), "Mend the file.")
        else:
            file = f"{directory.name}/lexicon/{Path(found['file']).name}"
            mend = found["mend"] or "Mend the phrase."
            yield Fault(file, int(found["line"]), "F095", found["what"], mend)


def reader_of(directory: Path) -> Reader | None:
    """The reader that patients meet, with this directory's lexicon; None when it has faults.

    It knows no medicines by name: the vocabulary takes a second to load, and no offered reply
    may need it.
    """
    try:
        return _reader(load_lexicon(_lexicon(directory), _names_nothing))
    except LexiconFault:
        return None


def _names_nothing(_word: str) -> bool:
    return False


@lru_cache(maxsize=2)
def _reader(lexicon: Lexicon) -> Reader:
    """One reader for each lexicon, which remembers what it has read."""

    @lru_cache(maxsize=8192)
    def understand(text: str, asked: Asked, language: str) -> Reading:
        return read(text, asked, lexicon, language=language)

    return understand
