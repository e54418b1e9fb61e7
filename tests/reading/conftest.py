"""The lexicon, loaded once for all reading tests."""

import pytest

from bot.content.lexicon import load_lexicon
from bot.reading.lexicon import Lexicon


@pytest.fixture(scope="session")
def lexicon() -> Lexicon:
    return load_lexicon()
