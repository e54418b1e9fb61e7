"""Reading one YAML file with its line numbers, and judging it against a model."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.constructor import DuplicateKeyError
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from bot.content.faults import Fault

Model = TypeVar("Model", bound=BaseModel)
Key = str | int


@dataclass(frozen=True, slots=True)
class Document:
    """One file as read: plain data, and the same data with line numbers."""

    file: str  # path shown in faults
    tree: Any

    def line(self, path: Sequence[Key] = ()) -> int:
        """The line (from 1) of the deepest part of `path` that the file has."""
        node, line = self.tree, 1
        for key in path:
            found = _line_of(node, key)
            if found is None:
                break
            line, node = found + 1, node[key]
        return line

    def fault(self, code: str, path: Sequence[Key], what: str, mend: str) -> Fault:
        """A fault at the line of `path`."""
        return Fault(self.file, self.line(path), code, what, mend)


def _line_of(node: object, key: Key) -> int | None:
    if isinstance(node, CommentedMap) and key in node:
        return int(node.lc.key(key)[0])
    if isinstance(node, CommentedSeq) and isinstance(key, int) and key < len(node):
        return int(node.lc.item(key)[0])
    return None


def read(path: Path, root: Path) -> Document | Fault:
    """Read a YAML 1.2 file; a file that cannot be read is one fault with its line."""
    shown = _shown(path, root)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        return Fault(shown, 1, "F001", f"cannot be read: {error}", "Save it as UTF-8 text.")
    return _parsed(text, shown)


@lru_cache(maxsize=512)
def _parsed(text: str, shown: str) -> Document | Fault:
    """Parse once per text: the same words in the same file always give the same tree."""
    if (tab := _tab(text)) is not None:
        return Fault(shown, tab, "F002", "a tab in the indentation", "Use two spaces instead.")
    yaml = YAML(typ="rt")
    yaml.allow_duplicate_keys = False
    try:
        return Document(shown, yaml.load(text))
    except YAMLError as error:
        return _yaml_fault(error, shown)


def _shown(path: Path, root: Path) -> str:
    return str(path.relative_to(root.parent)) if path.is_relative_to(root.parent) else str(path)


def _tab(text: str) -> int | None:
    for number, line in enumerate(text.splitlines(), start=1):
        if "\t" in line[: len(line) - len(line.lstrip())]:
            return number
    return None


def _yaml_fault(error: YAMLError, shown: str) -> Fault:
    mark = error.problem_mark if isinstance(error, MarkedYAMLError) else None
    line = mark.line + 1 if mark else 1
    problem = getattr(error, "problem", None) or str(error)
    if isinstance(error, DuplicateKeyError):
        what = problem.split(" with value")[0].replace("found duplicate", "two of the same")
        return Fault(shown, line, "F003", what, "Keep one of the two.")
    mend = "Look at the indentation and the quotes on this line and the one above."
    return Fault(shown, line, "F001", f"not valid YAML: {problem}", mend)


def judge(document: Document, model: type[Model]) -> Model | tuple[Fault, ...]:
    """Turn the document into its model, or into every fault that the model finds."""
    plain = _plain(document.tree)
    faults = tuple(_bad_keys(document, document.tree, ()))
    if faults:
        return faults
    try:
        return model.model_validate(plain)
    except ValidationError as error:
        return tuple(_fault(document, dict(found)) for found in error.errors())


def _bad_keys(document: Document, node: object, path: tuple[Key, ...]) -> Iterator[Fault]:
    """Keys must be words: `no:` unquoted in old YAML, or a bare number, is a trap."""
    if isinstance(node, CommentedMap):
        for key, value in node.items():
            if isinstance(key, bool) or not isinstance(key, str | int):
                what, mend = f"the key {key!r} is not a word", "Write the key in quotes."
                yield document.fault("F004", (*path, key), what, mend)
            yield from _bad_keys(document, value, (*path, key))
    elif isinstance(node, CommentedSeq):
        for place, value in enumerate(node):
            yield from _bad_keys(document, value, (*path, place))


def _plain(node: object) -> object:
    """The same data without line numbers and without the reader's own kinds of number."""
    if isinstance(node, dict):
        return {_plain(key): _plain(value) for key, value in node.items()}
    if isinstance(node, list):
        return [_plain(value) for value in node]
    if isinstance(node, bool) or node is None:
        return node
    for kind in (int, float, str):
        if isinstance(node, kind):
            return kind(node)
    return node


def _fault(document: Document, found: dict[str, Any]) -> Fault:
    path = [part for part in found["loc"] if _in_file(part)]
    where = ".".join(str(part) for part in path) or "the file"
    kind, message = found["type"], found["msg"].removeprefix("Value error, ")
    if kind == "extra_forbidden":
        mend = "Check the spelling, or take the key out."
        return document.fault("F010", path, f"unknown key {where}", mend)
    if kind == "missing":
        return document.fault("F011", path[:-1], f"{where} is missing", f"Add {path[-1]}.")
    what = f"{where}: {message[:1].lower()}{message[1:]}, not {_short(found.get('input'))}"
    return document.fault("F012", path, what, "Write it as the message says.")


def _in_file(part: Key) -> bool:
    """pydantic names the arms of a choice of types in its path; the file does not."""
    return isinstance(part, int) or not part.startswith(("list[", "RangeModel", "function-"))


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."
