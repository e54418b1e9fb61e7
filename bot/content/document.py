"""Reading one YAML file with its line numbers, and judging it against a model."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from bot.content.faults import Fault
from bot.content.yaml_tree import Branch, Row, TreeFault, line_of, tree

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
            found = line_of(node, key)
            if found is None:
                break
            line, node = found, node[key]
        return line

    def fault(self, code: str, path: Sequence[Key], what: str, mend: str) -> Fault:
        """A fault at the line of `path`."""
        return Fault(self.file, self.line(path), code, what, mend)


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
    try:
        return Document(shown, tree(text))
    except TreeFault as fault:
        if fault.repeated:
            return Fault(shown, fault.line, "F003", fault.problem, "Keep one of the two.")
        mend = "Look at the indentation and the quotes on this line and the one above."
        return Fault(shown, fault.line, "F001", f"not valid YAML: {fault.problem}", mend)


def _shown(path: Path, root: Path) -> str:
    return str(path.relative_to(root.parent)) if path.is_relative_to(root.parent) else str(path)


def _tab(text: str) -> int | None:
    for number, line in enumerate(text.splitlines(), start=1):
        if "\t" in line[: len(line) - len(line.lstrip())]:
            return number
    return None


def judge(document: Document, model: type[Model]) -> Model | tuple[Fault, ...]:
    """Turn the document into its model, or into every fault that the model finds."""
    faults = tuple(_bad_keys(document, document.tree, ()))
    if faults:
        return faults
    try:
        return model.model_validate(document.tree)
    except ValidationError as error:
        return tuple(_fault(document, dict(found)) for found in error.errors())


def _bad_keys(document: Document, node: object, path: tuple[Key, ...]) -> Iterator[Fault]:
    """Keys must be words: `no:` unquoted in old YAML, or a bare number, is a trap."""
    if isinstance(node, Branch):
        for key, value in node.items():
            if isinstance(key, bool) or not isinstance(key, str | int):
                what, mend = f"the key {key!r} is not a word", "Write the key in quotes."
                yield Fault(document.file, node.lines[key], "F004", what, mend)
            else:
                yield from _bad_keys(document, value, (*path, key))
    elif isinstance(node, Row):
        for place, value in enumerate(node):
            yield from _bad_keys(document, value, (*path, place))


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
