"""One person's message: read in the light of what they were asked, then their turn is taken."""

from bot.channels.base import Incoming
from bot.core.changed import replace
from bot.core.conversation import Escalate, Heard, OpenQuestion, Say, TimeUp
from bot.core.dialogue_draft import SYSTEM
from bot.core.record import Message, Party
from bot.core.wording import filled
from bot.reading.reading import Act, Asked, Reading
from bot.service import joining
from bot.service.chart import Chart, values
from bot.service.desk import Desk
from bot.service.turns import take_turn
from bot.store import inbox, outbox

_ALARMS = (Act.SYMPTOM, Act.EMERGENCY, Act.SELF_HARM, Act.EXPOSURE)


def hear(
    desk: Desk, party: Party, incoming: Incoming, inbound: int, asked: Asked | None = None
) -> None:
    """Read one person's message in the light of the question open to them, and take their turn.

    `asked` is given where the message is to be read otherwise than by their own question.
    """
    role = incoming.by or party.role
    language = desk.chart.conversation.language
    asked = asked_of(desk, role) if asked is None else asked
    pressed = _old_button(desk, incoming)
    if pressed is not None:
        asked = Asked.SYMPTOM_CHECK
    reading = desk.practice.read(incoming.text, asked, language)
    if pressed is not None and not sounds_like_alarm(reading):
        _set_aside(desk, pressed, incoming, inbound)
        return
    inbox.put_reading(desk.connection, inbound, asked, reading)
    answer = _ready_answer(desk, incoming.text, language)
    heard = Heard(reading, incoming.text, role, answer)
    if role == "coach" and not joining.has_joined(desk):
        joining.hear_invited(desk, heard)
    else:
        take_turn(replace(desk, heard=heard), heard)


def _ready_answer(desk: Desk, text: str, language: str) -> str | None:
    template = desk.practice.answer(text, language)
    if template is None:
        return None
    return filled(desk.practice.book, template, values(desk.chart, language, desk.now), language)


def _old_button(desk: Desk, incoming: Incoming) -> Message | None:
    """The message whose button was pressed, when this phone was asked something else since."""
    if incoming.answers is None:
        return None
    pressed = outbox.by_key(desk.connection, incoming.answers)
    if pressed is None or incoming.text not in pressed.choices:
        return None
    newest = outbox.newest_question(desk.connection, pressed)
    return pressed if newest not in (None, pressed.key) else None


def sounds_like_alarm(reading: Reading) -> bool:
    """True of words after which a nurse is told, whatever was asked."""
    return reading.alert or any(reading.says(act) for act in _ALARMS)


def _set_aside(desk: Desk, pressed: Message, incoming: Incoming, inbound: int) -> None:
    """A late answer must not be taken for one to the open question, and must not be lost either.

    Pressed a second time it says nothing new; otherwise a nurse reads it with its question.
    """
    since = pressed.queued_at
    told_before = (desk.patient, incoming.address, incoming.text, since, inbound)
    if inbox.heard_before(desk.connection, *told_before):
        return
    told = {"late answer to": pressed.text[:200]}
    late = Escalate("unread", incoming.text, (), told)
    take_turn(desk, TimeUp(), before=[late, Say("patient", SYSTEM, "unread_nurse")])


def asked_of(desk: Desk, role: str) -> Asked:
    """What kind of question is open to this writer."""
    question = _open_to(desk.chart, role)
    flow = desk.book.flows.get(question.flow) if question else None
    state = flow.states.get(question.state) if flow and question else None
    return (state.asked if state else None) or Asked.NONE


def _open_to(chart: Chart, role: str) -> OpenQuestion | None:
    patients_own = chart.conversation.open
    if role != "coach":
        return patients_own
    thread = chart.conversation.coach
    own = thread.open if thread else None
    return own or patients_own
