"""The channel of patients who are not real: it takes every message and sends it nowhere."""

from bot.channels.base import OnDelivery, OnIncoming, Outgoing, Sent

NAME = "trial"


class TrialChannel:
    """Staff see on the page what the phone would have shown."""

    name = NAME

    def start(self, on_incoming: OnIncoming, on_delivery: OnDelivery) -> None:
        """There is nothing to connect to."""

    def send(self, outgoing: Outgoing) -> Sent:
        """Take the message; the outbox keeps its text."""
        return Sent(f"trial-{outgoing.key}")

    def trouble(self) -> str | None:
        """Never in trouble."""
        return None

    def close(self) -> None:
        """Nothing to let go of."""
