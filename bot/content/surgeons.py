"""The rules of surgeons who have a file of their own."""

from pathlib import Path

from bot.content.load import load_rules
from bot.core.protocol import Rules


def load_surgeons(flows: Path) -> dict[str, Rules]:
    """The rules of every surgeon who has a file of their own, by the surgeon's name."""
    files = sorted((flows / "rules" / "surgeons").glob("*.yaml"))
    own = [load_rules(flows, path.stem) for path in files]
    return {rules.surgeon: rules for rules in own}
