"""A value told apart by being the very same object, so that what follows from it can be kept.

The hospital's rules and the talks hold mappings and so have no hash of their own; they are loaded
once and never change, and what is worked out from them is worked out once.
"""

from typing import Generic, TypeVar

T = TypeVar("T")


class Same(Generic[T]):
    """A key for `lru_cache`: equal only to a key of the same object, which it keeps alive."""

    __slots__ = ("it",)

    def __init__(self, it: T) -> None:
        self.it = it

    def __hash__(self) -> int:
        return id(self.it)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Same) and other.it is self.it
