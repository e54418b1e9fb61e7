import pytest

from bot.wiring import build


@pytest.fixture(scope="session")
def practice():
    """The published content, loaded once; each run has its own database."""
    return build("sqlite://").practice
