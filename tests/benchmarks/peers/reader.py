"""The service's reader, without its store, as a peer calls it."""

from functools import lru_cache

from measured import ROOT

from bot.content.lexicon import load_lexicon
from bot.reading.reader import read
from bot.reading.reading import Asked


def make_reader():
    """(text, kind of question) -> Reading; the last readings are remembered, as in the service."""
    lexicon = load_lexicon(ROOT / "flows" / "lexicon")
    return lru_cache(maxsize=2048)(lambda text, asked: read(text, Asked(asked), lexicon))
