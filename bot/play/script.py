"""What the people of a story do next: the written events, and answers to questions as they open."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from bot.core.conversation import Conversation, OpenQuestion
from bot.play.scenario import Scenario, StoryEvent

Answers = Mapping[str, str | list[str | None] | None]


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that one person does at one time. `key` is the same in every run of the story."""

    at: datetime
    key: str
    event: StoryEvent


SILENCE = StoryEvent(at=datetime.fromisoformat("2000-01-01T00:00"), note="says nothing")


def written_deeds(story: Scenario) -> list[Deed]:
    """The events that the file gives, in time order."""
    deeds = [
        Deed(story.instant(event.at), f"story.{place}", event)
        for place, event in enumerate(story.story)
    ]
    return sorted(deeds, key=lambda deed: deed.at)


def answer_deed(
    story: Scenario, conversation: Conversation, who: str, done: Iterable[str]
) -> Deed | None:
    """The answer to the question that is open to `who`, or None: no question, or silence.

    Answers are looked up by "flow.state", then by "flow". A list is used up from the front, one
    entry for each asking, and its last entry goes on; null is silence, also when nudged: that deed
    is SILENCE, which the player only writes down. `done` are the keys of deeds so far.
    """
    question = conversation.open
    if question is None:
        return None
    answers: Answers = story.answers if who == "patient" else story.coach_answers
    name = f"{question.flow}.{question.state}"
    name = name if name in answers else question.flow
    key = f"answer.{who}.{name}.{question.asked_at:%Y%m%dT%H%M%S}.{question.unread}"
    spoken = {past for past in done if past.startswith(f"answer.{who}.{name}.")}
    text = _pick(answers.get(name), len(spoken - {key}))
    if text is None and key not in spoken:
        return Deed(question.asked_at, key, SILENCE)
    if text is None or key in spoken:
        return None
    at = question.asked_at + _pause(story, question)
    local = at.replace(tzinfo=None)
    event = (
        StoryEvent(at=local, patient=text) if who == "patient" else StoryEvent(at=local, coach=text)
    )
    return Deed(at, key, event)


def _pick(answer: str | list[str | None] | None, used: int) -> str | None:
    if not isinstance(answer, list):
        return answer
    return answer[min(used, len(answer) - 1)] if answer else None


def _pause(story: Scenario, question: OpenQuestion) -> timedelta:
    """People do not answer at once; a little longer each time they were not understood."""
    return timedelta(minutes=story.answer_after_minutes * (1 + question.unread))
