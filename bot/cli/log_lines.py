"""Log lines for a machine to read: one JSON object each, always the same fields, nobody's data.

    {"at": "...", "level": "error", "source": "bot.cli.loops", "event": "relay failed: ...",
     "error": null, "place": null, "counts": {}}

Words of this program are written so that they quote nobody, and are shown. Words of a library may
quote anything: of them only the fixed part is shown. Of an exception the kind and the place are.
"""

import json
import logging
import traceback
from datetime import UTC, datetime

OWN = "bot"
FIELDS = ("at", "level", "source", "event", "error", "place", "counts")
LEFT_OUT = "a library said something; its words are left out"


class JsonLines(logging.Formatter):
    """Formats a record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """The record's time, level and source, what happened, and counts if it has any."""
        error = record.exc_info[1] if record.exc_info else None
        line = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "source": record.name,
            "event": _event(record),
            "error": type(error).__name__ if error else None,
            "place": _place(error) if error else None,
            "counts": getattr(record, "counts", {}),
        }
        return json.dumps(line, ensure_ascii=False)


def log_as_json(level: int = logging.INFO) -> None:
    """Let all logs of this process go to standard error: our own from `level`, others' warnings."""
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines())
    logging.basicConfig(level=logging.WARNING, handlers=[handler], force=True)
    logging.getLogger(OWN).setLevel(level)


def _event(record: logging.LogRecord) -> str:
    if record.name == OWN or record.name.startswith(f"{OWN}."):
        return record.getMessage()
    return record.msg if isinstance(record.msg, str) and record.args else LEFT_OUT


def _place(error: BaseException) -> str:
    """The file and line where it was raised."""
    frames = traceback.extract_tb(error.__traceback__)
    return f"{frames[-1].filename}:{frames[-1].lineno}" if frames else ""
