"""Reads YAML fast, with the line of every key, by the scalar rules of YAML 1.2.

The parsing is libyaml's, in C; what a plain scalar means is decided here by the core schema of
YAML 1.2 (section 10.3.2), so that `no`, `on` and `2027-11-01` stay words. A key that stands twice
is a fault.
"""

import re
from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import yaml

_Loader: type = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # without libyaml slower, not wrong
_TRUE, _FALSE = frozenset({"true", "True", "TRUE"}), frozenset({"false", "False", "FALSE"})
_NULL = frozenset({"", "~", "null", "Null", "NULL"})
_INT = re.compile(r"[-+]?\d+")
_OTHER_BASE = re.compile(r"0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(\.\d+|\d+(\.\d*)?)([eE][-+]?\d+)?")


@dataclass(frozen=True, slots=True)
class TreeFault(Exception):
    """The text is no YAML tree. `repeated`: a key stands twice."""

    line: int  # from 1
    problem: str
    repeated: bool = False


class Branch(dict[Any, Any]):
    """A mapping that knows its own line and those of its keys, from 1."""

    __slots__ = ("line", "lines")

    def __init__(self, line: int) -> None:
        super().__init__()
        self.line = line
        self.lines: dict[Hashable, int] = {}


class Row(list[Any]):
    """A sequence that knows its own line and those of its items, from 1."""

    __slots__ = ("line", "lines")

    def __init__(self, line: int) -> None:
        super().__init__()
        self.line = line
        self.lines: list[int] = []


def tree(text: str) -> object:
    """The content of one YAML document. Raises TreeFault."""
    try:
        root = yaml.compose(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark
        raise TreeFault(mark.line + 1 if mark else 1, str(error.problem or error)) from error
    except yaml.YAMLError as error:
        raise TreeFault(1, str(error).splitlines()[0]) from error
    return None if root is None else _built(root)


def line_of(node: object, key: object) -> int | None:
    """The line of a key or item; None where there is none."""
    if isinstance(node, Branch) and isinstance(key, Hashable):
        return node.lines.get(key)
    if isinstance(node, Row) and isinstance(key, int) and 0 <= key < len(node.lines):
        return node.lines[key]
    return None


def _built(node: yaml.Node) -> object:
    if isinstance(node, yaml.MappingNode):
        return _branch(node)
    if isinstance(node, yaml.SequenceNode):
        row = Row(_line(node))
        for item in node.value:
            row.append(_built(item))
            row.lines.append(_line(item))
        return row
    quoted = isinstance(node, yaml.ScalarNode) and node.style
    return node.value if quoted else _scalar(str(node.value))


def _branch(node: yaml.MappingNode) -> Branch:
    branch = Branch(_line(node))
    for key_node, value_node in node.value:
        key, line = _built(key_node), _line(key_node)
        if not isinstance(key, Hashable):
            raise TreeFault(line, "a list or mapping as a key")
        if key in branch:
            raise TreeFault(line, f'two of the same key "{key}"', repeated=True)
        branch[key] = _built(value_node)
        branch.lines[key] = line
    return branch


def _line(node: yaml.Node) -> int:
    return int(node.start_mark.line) + 1


def _scalar(text: str) -> object:
    """What a plain scalar means."""
    if text in _NULL:
        return None
    if text in _TRUE or text in _FALSE:
        return text in _TRUE
    if _INT.fullmatch(text):
        return int(text)
    if _OTHER_BASE.fullmatch(text):
        return int(text, 0)
    return float(text) if _FLOAT.fullmatch(text) else text
