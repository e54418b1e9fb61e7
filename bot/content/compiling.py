"""From file models to the core's values. Nothing is judged here; see check.py and schema.py."""

from collections.abc import Mapping, Sequence
from datetime import timedelta

from bot.content.document import Document
from bot.content.schema import (
    PromptModel,
    RangeModel,
    ReplyModel,
    Scalar,
    SilenceModel,
    StateModel,
    TalkModel,
    Tests,
    WhenModel,
)
from bot.content.schema_practice import (
    AllowedModel,
    ReasonModel,
    RulesModel,
)
from bot.core.choice_words import plain
from bot.core.flow import Allowed, Flow, Reason, Reply, Silence, State
from bot.core.protocol import FactTest, OfficeHours, Phones, Prompt, Rules, When


def fact_tests(tests: Tests) -> tuple[FactTest, ...]:
    """Conditions as the core's values, in the order of the file."""
    return tuple(
        FactTest(fact, at_least=test.at_least, below=test.below)
        if isinstance(test, RangeModel)
        else FactTest(fact, values=tuple(test))
        for fact, test in tests.items()
    )


def flow(model: TalkModel, document: Document, revision: str) -> Flow:
    """One talk file as a flow."""
    return Flow(
        name=model.flow,
        title=model.title,
        start=model.start or "",
        states={
            name: _state(name, state, document.line(("states", name)))
            for name, state in model.states.items()
        },
        wording=model.wording,
        labels=model.labels,
        sources=tuple(model.sources),
        priority=model.priority,
        health=model.health,
        coach=model.coach,
        listed=model.listed,
        words={
            choice: {language: tuple(map(plain, texts)) for language, texts in by_language.items()}
            for choice, by_language in model.words.items()
        },
        revision=revision,
        file=document.file,
    )


def _state(name: str, model: StateModel, line: int) -> State:
    return State(
        id=name,
        say=model.say,
        asked=model.asked,
        choices=tuple(model.choices),
        replies={key: _reply(reply) for key, reply in model.replies.items()},
        silence=_silence(model.silence) if model.silence else None,
        record=tuple(model.record.items()),
        escalate=model.escalate,
        go=model.go,
        branch=tuple((fact_tests(arm.tests), arm.go) for arm in model.branch),
        starts=tuple((start.flow, start.after) for start in model.starts),
        end=model.end,
        source_line=line,
    )


def _reply(model: ReplyModel) -> Reply:
    return Reply(
        go=model.go,
        say=model.say,
        record=tuple(model.record.items()),
        learn=tuple((fact, _words(value)) for fact, value in model.learn.items()),
        escalate=model.escalate,
        wait_minutes=model.wait,
    )


def _words(value: Scalar) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _silence(model: SilenceModel) -> Silence:
    return Silence(
        nudge_after=model.nudge_after,
        nudges=model.nudges,
        coach_after=model.coach_after,
        nurse_after=model.nurse_after,
        escalate=model.escalate,
    )


def reason(name: str, model: ReasonModel) -> Reason:
    """One escalation reason."""
    return Reason(name, model.title, model.severity, model.flow, model.tell_patient)


def allowed(model: AllowedModel) -> Allowed:
    """The minutes for one severity."""
    return Allowed(
        timedelta(minutes=model.acknowledge),
        timedelta(minutes=model.reach),
        timedelta(minutes=model.decide),
    )


def prompts(models: Sequence[PromptModel], document: Document) -> tuple[Prompt, ...]:
    """The prompts of one protocol file, in its order."""
    return tuple(
        _prompt(model, document.line(("prompts", place))) for place, model in enumerate(models)
    )


def _prompt(model: PromptModel, line: int) -> Prompt:
    return Prompt(
        id=model.id,
        flow=model.flow,
        when=_when(model.when),
        to=model.to,
        priority=model.priority,
        only_if=fact_tests(model.only_if),
        not_if=fact_tests(model.not_if),
        window_minutes=model.window,
        late=model.late,
        time_critical=model.time_critical,
        item=model.item,
        skip_if_done=model.skip_if_done,
        evening_flow=model.evening_flow,
        source_line=line,
    )


def _when(model: WhenModel) -> When:
    return When(
        anchor=model.anchor,
        days=model.days,
        at=model.at,
        minutes=model.minutes,
        first_day=model.from_day,
        last_day=model.to_day,
    )


def rules(model: RulesModel) -> Rules:
    """The rules of one hospital and surgeon."""
    fields: Mapping[str, object] = {
        name: getattr(model, name)
        for name in RulesModel.model_fields
        if name not in ("phones", "hours")
    }
    days = {int(weekday): hours for weekday, hours in model.hours.days.items()}
    hours = OfficeHours(days, frozenset(model.hours.holidays))
    phones = Phones(**model.phones.model_dump())
    return Rules(phones=phones, hours=hours, **fields)  # type: ignore[arg-type]
