"""Reads `flows/answers.yaml` into values, or reports every fault with its file and line."""

import re
from collections.abc import Collection, Iterator, Mapping
from functools import lru_cache
from pathlib import Path

from bot.content.faults import ContentFaults, Fault
from bot.content.yaml_tree import Branch, TreeFault, tree
from bot.reading.answer_book import AnswerBook, AnswerEntry, plain_words

LANGUAGES = ("en", "es")
LONGEST_ANSWER = 300  # characters once the placeholders are filled in; about two SMS parts
FEWEST_QUESTIONS = 3
_ENTRY_KEYS = {"id", "topic", "sources", "escalate", "key", "unless", "questions", "answer"}
_PLACEHOLDER = re.compile(r"\{(\w*)\}")
_TYPOGRAPHIC = re.compile("[\u2010-\u2015\u2018-\u201f\u2026\u00a0]")


def load_answers(
    path: Path,
    *,
    sources: Collection[str] | None = None,
    placeholders: Mapping[str, str] | None = None,
) -> AnswerBook:
    """The book of answers in `path`.

    `sources` are the ids that may be cited; `placeholders` maps each name that a text may use to
    an example of its value. Either left out is not checked. Raises ContentFaults with all faults.
    """
    content = _parsed(path.name, path.read_text(encoding="utf-8"))
    faults = tuple(_faults(content, path.name, sources, placeholders))
    if faults or not isinstance(content, Branch):
        raise ContentFaults(faults)
    return AnswerBook(
        tuple(_entry(raw) for raw in content["answers"]),
        guarded=_word_sets(content.get("guarded", {})),
        filler=_word_sets(content.get("filler", {})),
    )


@lru_cache(maxsize=3)
def _parsed(name: str, text: str) -> object:
    """The tree, which nobody changes: drafts and versions share most of their files."""
    try:
        return tree(text)
    except TreeFault as error:
        fault = Fault(name, error.line, "F080", f"not YAML: {error.problem}", "Mend the line")
        raise ContentFaults([fault]) from error


def _word_sets(raw: Mapping[str, list[str]]) -> dict[str, frozenset[str]]:
    return {
        language: frozenset(word for item in words for word in plain_words(str(item)))
        for language, words in raw.items()
    }


def _group(item: object) -> frozenset[str]:
    return frozenset(plain_words(str(item)))


def _entry(raw: Branch) -> AnswerEntry:
    return AnswerEntry(
        id=str(raw["id"]),
        topic=str(raw["topic"]),
        questions={name: tuple(map(str, raw["questions"][name])) for name in LANGUAGES},
        answer={name: str(raw["answer"][name]) for name in LANGUAGES},
        sources=tuple(map(str, raw["sources"])),
        key={name: tuple(_group(item) for item in raw["key"][name]) for name in LANGUAGES},
        unless=_word_sets(raw.get("unless", {})),
        escalate=bool(raw.get("escalate", False)),
        source_line=raw.line,
    )


def _faults(
    content: object,
    file: str,
    sources: Collection[str] | None,
    placeholders: Mapping[str, str] | None,
) -> Iterator[Fault]:
    if not isinstance(content, Branch) or not isinstance(content.get("answers"), list):
        yield Fault(file, 1, "F081", "no list `answers`", "Add `answers:` with the entries")
        return
    seen_ids: dict[str, int] = {}
    seen_questions: dict[tuple[str, ...], str] = {}
    for raw in content["answers"]:
        line = raw.line if isinstance(raw, Branch) else 1
        problems = [*_shape(raw)]
        if not problems:
            problems = [
                *_twice(raw, line, seen_ids, seen_questions),
                *_keyless(raw),
                *_unknown_sources(raw, sources),
                *_wording(raw, placeholders),
            ]
        for code, what, mend in problems:
            yield Fault(file, line, code, what, mend)


_Problems = Iterator[tuple[str, str, str]]  # code, what, how to mend


def _shape(raw: object) -> _Problems:
    if not isinstance(raw, Branch):
        yield "F082", "an entry is not a mapping", "Write `- id: ...` and its keys"
        return
    for key in sorted(set(raw) - _ENTRY_KEYS, key=str):
        yield "F083", f"unknown key `{key}`", f"Use only {', '.join(sorted(_ENTRY_KEYS))}"
    for key in sorted(_ENTRY_KEYS - {"escalate", "unless"} - set(raw)):
        yield "F084", f"`{key}` is missing", f"Add `{key}:`"
    if not isinstance(raw.get("escalate", False), bool):
        yield "F084", "`escalate` is neither true nor false", "Write true or leave it out"
    if not isinstance(raw.get("sources", []), list) or not raw.get("sources", ["?"]):
        yield "F085", "no source", "List ids of sources.yaml, or common-practice"
    yield from _languages(raw)


def _languages(raw: Branch) -> _Problems:
    for name in LANGUAGES:
        asked = raw.get("questions")
        ways = asked.get(name, []) if isinstance(asked, dict) else []
        if not isinstance(ways, list) or len(ways) < FEWEST_QUESTIONS:
            yield (
                "F086",
                f"fewer than {FEWEST_QUESTIONS} ways of asking in {name}",
                f"Add to questions.{name}",
            )
        key = raw.get("key")
        if not isinstance(key, dict) or not isinstance(key.get(name), list) or not key[name]:
            yield "F087", f"no key words in {name}", f"Add key.{name}: [words of one group, ...]"
        told = raw.get("answer")
        if not isinstance(told, dict) or not isinstance(told.get(name), str):
            yield "F088", f"no answer in {name}", f"Add answer.{name}"


def _twice(
    raw: Branch,
    line: int,
    ids: dict[str, int],
    questions: dict[tuple[str, ...], str],
) -> _Problems:
    identity = str(raw["id"])
    if identity in ids:
        yield "F089", f"id `{identity}` is also on line {ids[identity]}", "Rename one of the two"
    ids.setdefault(identity, line)
    for name in LANGUAGES:
        for question in map(str, raw["questions"][name]):
            key = (name, *sorted(plain_words(question)))
            other = questions.setdefault(key, identity)
            if other != identity:
                yield "F089", f'"{question}" is also asked under `{other}`', "Keep it in one entry"


def _keyless(raw: Branch) -> _Problems:
    for name in LANGUAGES:
        groups = [_group(item) for item in raw["key"][name]]
        for question in map(str, raw["questions"][name]):
            words = frozenset(plain_words(question))
            if not all(words & group for group in groups):
                yield (
                    "F090",
                    f'"{question}" lacks a key word of its entry',
                    f"Add one to key.{name}",
                )


def _unknown_sources(raw: Branch, known: Collection[str] | None) -> _Problems:
    for source in map(str, raw["sources"]):
        if known is not None and source not in known:
            yield "F085", f"source `{source}` is not known", "Add it to sources.yaml or mend the id"


def _wording(raw: Branch, examples: Mapping[str, str] | None) -> _Problems:
    for name in LANGUAGES:
        text = raw["answer"][name]
        if _TYPOGRAPHIC.search(text):
            yield (
                "F091",
                f"answer.{name} has typographic signs",
                "Use plain quotes, dashes and spaces",
            )
        if examples is None:
            continue
        for used in sorted(set(_PLACEHOLDER.findall(text)) - set(examples)):
            yield (
                "F092",
                f"answer.{name} uses {{{used}}}, which has no value",
                "Use a known placeholder",
            )
        length = len(_PLACEHOLDER.sub(lambda m: examples.get(m[1], ""), text))
        if length > LONGEST_ANSWER:
            yield (
                "F093",
                f"answer.{name} has {length} characters when filled in",
                f"Shorten it to {LONGEST_ANSWER}",
            )
