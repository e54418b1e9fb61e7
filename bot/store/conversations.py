"""Where each chat stands, guarded by a version number."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection, bindparam, update

from bot.store.engine import insert_row
from bot.store.prepared import Prepared
from bot.store.tables import CONVERSATION

_SAVE = Prepared(
    update(CONVERSATION)
    .where(
        CONVERSATION.c.patient_id == bindparam("patient"),
        CONVERSATION.c.version == bindparam("read_version"),
    )
    .values(body=bindparam("text"), version=bindparam("next_version"), wake_at=bindparam("wake"))
)


Chat = tuple[int, str, int, datetime | None]  # patient, text, the version that was read, wake at


class WrittenMeanwhile(RuntimeError):
    """Another writer moved this conversation first. Nothing was stored: read it again."""


def add_conversation(
    connection: Connection, patient: int, body: str, wake_at: datetime | None = None
) -> None:
    """Begin a chat at version 0."""
    row = {"patient_id": patient, "body": body, "version": 0, "wake_at": wake_at}
    insert_row(connection, CONVERSATION, row)


def save_conversation(
    connection: Connection,
    patient: int,
    body: str,
    read_version: int,
    wake_at: datetime | None,
) -> None:
    """Store the next version. Raises WrittenMeanwhile unless `read_version` is still there."""
    if _SAVE.run(connection, _saved((patient, body, read_version, wake_at))) != 1:
        raise WrittenMeanwhile(
            f"The conversation of patient {patient} is no longer at version {read_version}."
        )


def save_all(connection: Connection, chats: Sequence[Chat]) -> None:
    """Store the next version of several; WrittenMeanwhile unless all are as they were read."""
    if chats and _SAVE.run_each(connection, [_saved(chat) for chat in chats]) != len(chats):
        raise WrittenMeanwhile("One of several conversations is no longer as it was read.")


def _saved(chat: Chat) -> dict[str, object]:
    patient, body, version, wake_at = chat
    next_state = {"text": body, "next_version": version + 1, "wake": wake_at}
    return {"patient": patient, "read_version": version, **next_state}


def put_off_waking(connection: Connection, patient: int, until: datetime) -> None:
    """Move a timer that could not be handled forward, so that it cannot stop the others."""
    connection.execute(
        update(CONVERSATION).where(CONVERSATION.c.patient_id == patient).values(wake_at=until)
    )
