import pytest

from bot.core import plan
from bot.wiring import build


@pytest.fixture(scope="session")
def practice():
    """The published content, loaded once; each run has its own database."""
    return build("sqlite://").practice


@pytest.fixture(autouse=True)
def _no_dates_at_hand():
    """A run works out its patients' dates itself, for a planted defect may make them wrong."""
    plan._dated.cache_clear()
    yield
    plan._dated.cache_clear()
