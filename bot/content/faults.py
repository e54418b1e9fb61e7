"""Faults found in content files: what is wrong, where, and how to mend it."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One fault. It prints as `CODE file:line: what. How to mend.`"""

    file: str
    line: int
    code: str
    what: str
    mend: str

    def __str__(self) -> str:
        return f"{self.code} {self.file}:{self.line}: {self.what}. {self.mend}"


class ContentFaults(Exception):
    """The content cannot be used as it stands."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(set(faults)))
        super().__init__("\n".join(str(fault) for fault in self.faults))
