"""Chats and messages of many turns, stored together at the end of the transaction they share."""

from dataclasses import dataclass, field

from sqlalchemy import Connection

from bot.core.record import Message
from bot.store import conversations, outbox
from bot.store.conversations import Chat


@dataclass(slots=True)
class Later:
    """What turns hand in. Nothing in the same transaction may read it back before `store`."""

    chats: list[Chat] = field(default_factory=list)
    messages: list[Message] = field(default_factory=list)

    def store(self, connection: Connection) -> None:
        """Store all of it; WrittenMeanwhile when a chat was moved by another writer."""
        conversations.save_all(connection, self.chats)
        outbox.queue_all(connection, self.messages)
