"""What every service works with: the store, the published content and the reader.

Nothing here knows the time; each service is told `now`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from sqlalchemy import Engine

from bot.core.flow import FlowBook
from bot.core.protocol import Protocol, Rules, rules_of
from bot.core.record import OnCall
from bot.reading.reading import Asked, Reading

Answerer = Callable[[str, str], str | None]  # (text, language) -> a text to fill in
Reader = Callable[[str, Asked, str], Reading]  # (text, what was asked, language)
PAGE = "page"  # the nurse's own list: what is put there is delivered by being there


@dataclass(frozen=True, slots=True)
class Practice:
    """One hospital's countdown service. `surgeon_rules` are by the surgeon's name."""

    engine: Engine
    book: FlowBook
    protocols: Mapping[str, Protocol]  # joint -> protocol
    rules: Rules
    read: Reader
    answer: Answerer  # None: no ready answer, a nurse answers
    surgeon_rules: Mapping[str, Rules] = field(default_factory=dict)
    publication: int | None = None  # of the content; None: what ships with the program
    on_call: tuple[OnCall, ...] = (
        OnCall("Pre-op nurse", PAGE, "pre-op"),
        OnCall("Charge nurse", PAGE, "charge"),
        OnCall("Surgeon's office", PAGE, "office"),
    )
    _named: dict[str, Rules] = field(init=False, repr=False, compare=False, default_factory=dict)

    def rules_for(self, surgeon: str) -> Rules:
        """The surgeon's own rules, or the hospital's with the surgeon's name in them."""
        found = self.surgeon_rules.get(surgeon) or self._named.get(surgeon)
        if found is None:  # the same object each time, so that what follows from it can be kept
            found = self._named[surgeon] = rules_of(self.rules, surgeon)
        return found
