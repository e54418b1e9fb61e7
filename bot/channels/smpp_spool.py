"""Keeps the parts of unfinished long messages on disk, so that a crash does not lose them.

A part is answered to the SMSC before its message is whole, and from then on only we have it.
"""

import json
import os
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

from bot.channels.smpp_parts import Unfinished


class PartSpool:
    """One small file, replaced whole at each change. Without a path nothing is kept."""

    def __init__(self, path: Path | None) -> None:
        self._path = path

    def read(self) -> list[Unfinished]:
        """What was unfinished when the last process ended."""
        if self._path is None or not self._path.is_file():
            return []
        kept = json.loads(self._path.read_text(encoding="utf-8"))
        return [_unfinished(entry) for entry in kept]

    def write(self, unfinished: list[Unfinished]) -> None:
        """Keeps these; returns once they are on the disk."""
        if self._path is None or (not unfinished and not self._path.exists()):
            return
        self._path.parent.mkdir(parents=True, exist_ok=True)
        fresh = self._path.with_suffix(".new")
        entries = [asdict(kept) | {"since": kept.since.isoformat()} for kept in unfinished]
        descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            json.dump(entries, file, ensure_ascii=False)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self._path)


def _unfinished(entry: dict[str, Any]) -> Unfinished:
    return Unfinished(
        entry["source"],
        entry["destination"],
        entry["reference"],
        entry["total"],
        datetime.fromisoformat(entry["since"]),
        {int(number): text for number, text in entry["pieces"].items()},
    )
