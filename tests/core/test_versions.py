"""What began on an older version of the content ends on it; everything else is live."""

from dataclasses import replace
from datetime import UTC, datetime

from bot.core.conversation import Conversation, OpenQuestion, WaitingFlow
from bot.core.flow import Flow, FlowBook, State
from bot.core.versions import as_begun, begun_with, lacks

NOW = datetime(2027, 3, 1, 14, tzinfo=UTC)


def flow(name: str, revision: str) -> Flow:
    states = {"ask": State("ask", end="done")}
    return Flow(name, name, "ask", states, {}, {}, revision=revision)


def question(name: str, revision: str) -> OpenQuestion:
    return OpenQuestion(name, revision, "ask", NOW)


LIVE = {"wash": flow("wash", "new"), "ride": flow("ride", "same")}
OLD = {("wash", "old"): flow("wash", "old"), ("gone", "old"): flow("gone", "old")}
BOOK = FlowBook(LIVE, {}, retired=OLD)


def revisions(conversation: Conversation) -> dict[str, str]:
    return {name: f.revision for name, f in as_begun(BOOK, conversation).flows.items()}


def test_with_nothing_old_under_way_the_book_is_the_live_one_itself():
    for chat in (Conversation(), Conversation(open=question("wash", "new"))):
        assert as_begun(BOOK, chat) is BOOK


def test_an_open_an_interrupted_and_the_coachs_question_each_keep_their_version():
    old = question("wash", "old")
    for chat in (
        Conversation(open=old),
        Conversation(open=question("ride", "same"), interrupted=(old,)),
        Conversation(coach=Conversation(open=old, who="coach")),
    ):
        assert revisions(chat) == {"wash": "old", "ride": "same"}


def test_a_flow_that_was_taken_out_is_there_for_the_question_that_is_open_and_for_no_other():
    assert revisions(Conversation(open=question("gone", "old"))) == {
        "wash": "new",
        "ride": "same",
        "gone": "old",
    }
    assert "gone" not in revisions(Conversation(open=question("ride", "same")))


def test_a_flow_that_waits_its_turn_and_was_taken_out_still_opens():
    chat = Conversation(waiting=(WaitingFlow("gone", NOW),))
    assert revisions(chat)["gone"] == "old"


def test_a_flow_that_waits_its_turn_opens_in_the_live_version():
    chat = Conversation(waiting=(WaitingFlow("wash", NOW),))
    assert revisions(chat)["wash"] == "new"


def test_a_revision_that_nobody_stored_leaves_the_live_flow():
    chat = Conversation(open=question("wash", "never stored"))
    assert revisions(chat) == {"wash": "new", "ride": "same"}


def test_what_must_be_loaded_is_what_is_under_way_or_waits():
    chat = Conversation(open=question("wash", "old"), waiting=(WaitingFlow("ride", NOW),))
    assert begun_with(chat) == {("wash", "old"), ("ride", "")}
    assert lacks(BOOK, "wash", "old")
    assert lacks(BOOK, "gone", "")
    assert not lacks(BOOK, "ride", "")
    assert not lacks(replace(BOOK, retired={}), "wash", "new")
