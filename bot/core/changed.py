"""`replace` for the values that a turn and a plan change many times over.

`dataclasses.replace` looks at every field by itself; these do it once for each kind of value.
"""

from collections.abc import Callable, Hashable
from dataclasses import fields
from functools import lru_cache
from operator import attrgetter
from typing import Any, TypeVar, cast

T = TypeVar("T")


def replace(thing: T, **changes: object) -> T:
    """A copy of a dataclass value with some of its fields changed."""
    names, read = _shape(cast(Hashable, type(thing)))
    values = dict(zip(names, read(thing), strict=True))
    values.update(changes)
    return type(thing)(**values)


@lru_cache(maxsize=64)
def _shape(kind: Hashable) -> tuple[tuple[str, ...], Callable[[object], tuple[Any, ...]]]:
    names = tuple(field.name for field in fields(cast(Any, kind)) if field.init)
    return names, attrgetter(*names)
