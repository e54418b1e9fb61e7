"""All the evidence found in one reply, before deciding what it means."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from bot.reading.matching import Match
from bot.reading.numbers import Number
from bot.reading.own_temperature import own_temperature
from bot.reading.phrases import Word, word_set
from bot.reading.question_form import only_looks_asked
from bot.reading.reading import Asked, Symptom, Temperature
from bot.reading.temperature import Measured
from bot.reading.tokens import COMMA, QUESTION, STOP
from bot.reading.walk import Mention


@dataclass(frozen=True, slots=True)
class Understood:
    """One reply taken apart. Questions about it are answered from here, never from the raw text."""

    asked: Asked
    words: Sequence[Word]
    matches: Sequence[Match]
    numbers: Sequence[Number]
    measured: Sequence[Measured]
    mentions: Sequence[Mention]
    hints: Sequence[Mention] = ()
    concepts: frozenset[str] = field(default=frozenset())

    def says(self, *names: str) -> bool:
        """True when any of the concepts is in the reply."""
        return not self.concepts.isdisjoint(names)

    def quote(self, *names: str) -> tuple[str, ...]:
        """The words that said the concepts, in order, each once."""
        found = (m for m in self.matches if m.concept in names)
        return tuple(dict.fromkeys(self.text(m.start, m.end) for m in found))

    def text(self, start: int, end: int) -> str:
        """The words of a span as understood."""
        return " ".join(w.text for w in self.words[start:end])

    @property
    def whole(self) -> str:
        """The reply without its punctuation."""
        return " ".join(w.text for w in self.content)

    @property
    def content(self) -> list[Word]:
        """The words without punctuation."""
        return [w for w in self.words if w is not STOP and w is not COMMA and w is not QUESTION]

    @property
    def asks(self) -> bool:
        """True for a reply with a question mark or in the form of a question."""
        if self._says_question() or (self.words and self.words[-1] is QUESTION):
            return True
        return self.says("act.question_start") and self._starts_as_question()

    def _says_question(self) -> bool:
        return any(
            m.concept == "act.question" and not only_looks_asked(self.words, m)
            for m in self.matches
        )

    def _starts_as_question(self) -> bool:
        """True when a clause opens like a question: "is it", "when", but not "that is what"."""
        polite = {m.end for m in self.matches if m.concept == "act.polite"}
        for match in self.matches:
            if match.concept == "act.question_start":
                at = match.start
                if at and self.words[at].text == "que" and self.words[at - 1] is COMMA:
                    continue  # "la cotorra, que imita a mi difunto"
                if self._tells_when(at) or only_looks_asked(self.words, match):
                    continue  # "when I pee it stings"
                before = self.words[at - 1]
                if at == 0 or before.separates or at in polite or before.text in _LEADS_ON:
                    return True
        return False

    def _tells_when(self, at: int) -> bool:
        """True for a "when I" and a "cuando tenia" that no question mark closes."""
        if self.words[at].text not in ("when", "cuando") or at + 1 >= len(self.words):
            return False
        end = next((w for w in self.words[at:] if w.separates and w is not COMMA), STOP)
        return self.words[at + 1].text in _SUBJECTS and end is not QUESTION

    def own_clause(self, name: str) -> bool:
        """True for the STOP of "STOP, I have chest pain" and "STOP I am sick"."""
        for match in self.matches:
            if match.concept == name and self.words[match.start].text in _PLAIN_STOP:
                begins = match.start == 0 or self.words[match.start - 1].separates
                after = self.words[match.end] if match.end < len(self.words) else STOP
                if begins and (after.separates or after.text in _OWN_WORDS):
                    return True
        return False

    def opens_with(self, name: str) -> bool:
        """True when the first words say `name`."""
        return any(m.start == 0 and m.concept == name for m in self.matches)

    @property
    def temperature(self) -> Temperature | None:
        """The temperature stated as the patient's own, or None."""
        if not self.measured:
            return None
        return own_temperature(self.words, self.measured, (*self.mentions, *self.hints))

    def whole_message(self, name: str) -> bool:
        """True when nothing but `name` and courtesies is said."""
        said = {i for m in self.matches if m.concept == f"whole.{name}" for i in _span(m)}
        if not said:
            return False
        polite = {i for m in self.matches if m.concept == "act.polite" for i in _span(m)}
        content = {i for i, w in enumerate(self.words) if w not in (STOP, COMMA, QUESTION)}
        return content <= said | polite and not said <= polite


_LEADS_ON = word_set("y and oye oiga so pues entonces")
_SUBJECTS = word_set("i he she we it they my im hes shes tenia era estaba orino tose toso")
_PLAIN_STOP = word_set("stop stopall unsubscribe alto parar basta")
_OWN_WORDS = word_set("i im ive my please stop tengo me estoy")


def _span(match: Match) -> range:
    return range(match.start, match.end)


SYMPTOMS = {f"symptom.{s.value}": s for s in Symptom} | {
    "symptom.fever_if_unmeasured": Symptom.FEVER,
    "fever_reading": Symptom.FEVER,
    "emergency.chest_pain": Symptom.CHEST_PAIN,
    "emergency.breathing": Symptom.BREATHING,
    "emergency.injury": Symptom.FALL,
    "emergency.injury_after_fall": Symptom.FALL,
}
