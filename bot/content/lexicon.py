"""Loads the lexicon files of `flows/lexicon/` into one compiled Lexicon.

Both languages are always active together: patients mix them in one message. A list under
`words:` may be named in the phrases of every file: `{hurts} ... {chest}`.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from bot.content.medicines import is_medicine
from bot.content.yaml_tree import Branch, TreeFault, tree
from bot.reading.lexicon import Lexicon
from bot.reading.phrases import Phrase, PhraseFault, elements

LEXICON_DIR = Path(__file__).resolve().parents[2] / "flows" / "lexicon"
_HEADER = ("lexicon", "purpose", "owner", "review_by", "how_to_add")
_GROUPS = {
    "symptoms": "symptom",
    "emergencies": "emergency",
    "alarms": "",
    "acts": "act",
    "whole_message": "whole",
    "modifiers": "mod",
    "harmless": "harmless",
    "spelling": "spell",
    "unsure": "unsure",
}
_TABLES = ("emoji", "numbers", "same", "common_words", "words")
_LISTED = re.compile(r"\{(\w+)\}")


class LexiconFault(ValueError):
    """A lexicon file that cannot be used; the message carries file, line and how to mend it."""


@dataclass(frozen=True, slots=True)
class _Files:
    """The lexicon files: the same texts make the same lexicon, wherever they lie."""

    texts: tuple[tuple[str, str], ...]  # (name, text)
    folder: Path = field(compare=False)


def load_lexicon(
    folder: Path = LEXICON_DIR, is_medicine: Callable[[str], bool] = is_medicine
) -> Lexicon:
    """The lexicon in every language. Raises LexiconFault naming every fault with its line.

    `is_medicine` knows the names of medicines, which stand in no lexicon file.
    """
    files = sorted(folder.glob("*.yaml"))
    if not files:
        raise LexiconFault(f"{folder}: no lexicon file. Add en.yaml and es.yaml.")
    texts = tuple((path.name, path.read_text(encoding="utf-8")) for path in files)
    return _compiled(_Files(texts, folder), is_medicine)


@lru_cache(maxsize=3)
def _compiled(files: _Files, is_medicine: Callable[[str], bool]) -> Lexicon:
    phrases: list[Phrase] = []
    tables: dict[str, dict[str, Any]] = {"emoji": {}, "numbers": {}, "same": {}}
    common: set[str] = set()
    pages = {
        path: _page(path, text)
        for path, text in ((files.folder / name, text) for name, text in files.texts)
    }
    lists = _word_lists(pages.values())
    for path, page in pages.items():
        phrases.extend(_phrases(page, path, lists))
        for name, table in tables.items():
            table.update(page.get(name, {}))
        common.update(str(page.get("common_words", "")).split())
    _check(phrases)
    return Lexicon(phrases, common_words=frozenset(common), is_medicine=is_medicine, **tables)


def _page(path: Path, text: str) -> Branch:
    try:
        page = tree(text)
    except TreeFault as fault:
        problem = f"{path}:{fault.line}: {fault.problem}. Mend the YAML there."
        raise LexiconFault(problem) from fault
    if not isinstance(page, Branch):
        raise LexiconFault(f"{path}:1: not a mapping. Start from the header of en.yaml.")
    missing = [key for key in _HEADER if key not in page]
    unknown = [key for key in page if key not in {*_HEADER, *_GROUPS, *_TABLES}]
    if missing:
        raise LexiconFault(f"{path}:1: header lacks {', '.join(missing)}. Add it at the top.")
    if unknown:
        line = page.lines[unknown[0]]
        allowed = ", ".join((*_GROUPS, *_TABLES))
        raise LexiconFault(f"{path}:{line}: unknown group '{unknown[0]}'. Use one of {allowed}.")
    return page


def _word_lists(pages: Iterable[Branch]) -> dict[str, str]:
    """The lists under `words:`, each as one slot; a list named in two files is both together."""
    lists: dict[str, list[str]] = {}
    for page in pages:
        for name, block in page.get("words", {}).items():
            lists.setdefault(name, []).extend(str(block).split())
    return {name: "|".join(dict.fromkeys(words)) for name, words in lists.items()}


def _phrases(page: Branch, path: Path, lists: Mapping[str, str]) -> Iterator[Phrase]:
    for group, prefix in _GROUPS.items():
        for name, block in (page.get(group) or {}).items():
            line = page[group].lines[name]
            if not isinstance(block, str):
                raise LexiconFault(
                    f"{path}:{line}: '{name}' is not a block of phrases. Write '{name}: |' and one "
                    "phrase a line below it."
                )
            concept = f"{prefix}.{name}" if prefix else str(name)
            for below, text in enumerate(block.splitlines(), start=1):
                phrase = text.split(" #")[0].strip()
                if phrase and not phrase.startswith("#"):
                    yield Phrase(concept, _spelled_out(phrase, lists), line + below, str(path))


def _spelled_out(phrase: str, lists: Mapping[str, str]) -> str:
    """`phrase` with every {list} written out; an unknown list stays and is reported as a fault."""
    return _LISTED.sub(lambda found: lists.get(found[1], found[0]), phrase)


def _check(phrases: list[Phrase]) -> None:
    faults = []
    for phrase in phrases:
        try:
            elements(phrase.text)
        except PhraseFault as fault:
            faults.append(f"{phrase.file}:{phrase.line}: {fault}")
    if faults:
        raise LexiconFault("\n".join(faults))
