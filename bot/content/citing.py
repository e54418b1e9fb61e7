"""How a source is cited wherever a text shows one, with how well it is known."""

from bot.content.schema_practice import SourceModel

STATUS = {
    "read": "read",
    "second-hand": "read about, not read",
    "memory": "from memory, not confirmed",
    "common-practice": "common practice, no source",
    "our-choice": "a choice of this project",
}


def cite(source: SourceModel) -> str:
    """Title, year where the title lacks it, and how well the source is known."""
    if source.status == "common-practice":
        return STATUS[source.status]
    year = str(source.year or "")
    title = source.title if not year or year in source.title else f"{source.title}, {year}"
    return f"{title} ({STATUS[source.status]})"
