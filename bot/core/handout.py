"""The words of the page that a patient takes home, from the talk `handout`."""

from collections.abc import Mapping

from bot.core.flow import FlowBook
from bot.core.wording import filled, line_text

HANDOUT = "handout"
HANDOUT_LINES = (
    "title", "operation", "arrival_later", "who", "office", "after_hours", "emergency",
    "not_for_emergencies", "scan", "scan_name", "once", "texts", "dates", "day", "about",
    "medicines", "hold", "changes", "coach_title", "coach_for", "coach_scan", "coach_asked",
    "coach_invited",
)  # fmt: skip


def handout_words(book: FlowBook, values: Mapping[str, str], language: str) -> dict[str, str]:
    """Every line by its name, filled; empty where the content in use is older than the page."""
    return {
        line: filled(book, line_text(book, HANDOUT, line, language), values, language)
        for line in HANDOUT_LINES
    }
