"""How well replies are read: `python tests/benchmarks/reader_scores.py`.

Scores the reader on the labelled replies in tests/reading/labelled/. Misses are listed for the
tune part only; `--show-report` lists those of the report part too, which is for final use: a reply
whose miss was looked at may no longer be reported on (see the README beside the replies).
"""

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from bot.content.lexicon import load_lexicon  # noqa: E402
from bot.reading.reader import read  # noqa: E402
from bot.reading.reading import Act, Asked, Reading  # noqa: E402

LABELLED = ROOT / "tests" / "reading" / "labelled"
DIRE = (Act.EMERGENCY, Act.SELF_HARM)
PARTS = ("tune", "report")
SAME_DEGREE = 0.011  # degrees Celsius; labels are rounded to two decimals

Read = Callable[[str, str, str | None], Reading]


@dataclass(frozen=True, slots=True)
class Label:
    """One reply as a careful nurse would read it."""

    text: str
    lang: str | None
    asked: str
    act: str
    symptoms: tuple[str, ...]
    temperature_c: float | None
    choices: tuple[int, ...]
    alert: bool
    author: str


@dataclass(frozen=True, slots=True)
class Scored:
    """A label beside what the reader made of it."""

    label: Label
    reading: Reading

    @property
    def act_right(self) -> bool:
        return self.reading.act == self.label.act

    @property
    def alert_right(self) -> bool:
        return self.reading.alert == self.label.alert

    @property
    def symptoms_right(self) -> bool:
        return tuple(sorted(self.reading.symptoms)) == self.label.symptoms

    @property
    def temperature_right(self) -> bool:
        found = self.reading.temperature
        want = self.label.temperature_c
        if found is None or want is None:
            return found is None and want is None
        return abs(found.celsius - want) < SAME_DEGREE

    @property
    def choices_right(self) -> bool:
        return tuple(self.reading.choices) == self.label.choices

    @property
    def dire_right(self) -> bool:
        return self.reading.says(Act(self.label.act)) and self.reading.alert


@dataclass(frozen=True, slots=True)
class Share:
    """How many of how many."""

    right: int
    of: int

    @property
    def rate(self) -> float:
        return self.right / self.of if self.of else 1.0

    def __str__(self) -> str:
        return f"{100 * self.rate:6.2f} %  ({self.right} of {self.of})"


def parts() -> tuple[str, ...]:
    """The parts there are: "tune", and "report" while a set is kept for reporting."""
    return tuple(part for part in PARTS if (LABELLED / f"{part}.jsonl").exists())


def labels(part: str) -> list[Label]:
    """The labelled replies of `part`: "tune" or "report"."""
    lines = (LABELLED / f"{part}.jsonl").read_text(encoding="utf-8").splitlines()
    return [_label(json.loads(line)) for line in lines]


def _label(raw: dict) -> Label:
    return Label(
        text=raw["text"],
        lang=raw["lang"],
        asked=raw["asked"],
        act=raw["act"],
        symptoms=tuple(raw["symptoms"]),
        temperature_c=raw["temperature_c"],
        choices=tuple(raw["choices"] or ()),
        alert=raw["alert"],
        author=raw["author"],
    )


def reader() -> Read:
    """The reader with the lexicon in flows/, as one function of text, question and language."""
    lexicon = load_lexicon()

    def read_reply(text: str, asked: str, language: str | None) -> Reading:
        return read(text, Asked(asked), lexicon, language=language)

    return read_reply


def score(found: Iterable[Label], read_reply: Read) -> list[Scored]:
    return [Scored(label, read_reply(label.text, label.asked, label.lang)) for label in found]


def share(of: Sequence[Scored], right: Callable[[Scored], bool]) -> Share:
    return Share(sum(map(right, of)), len(of))


def alert_recall(scored: Sequence[Scored]) -> Share:
    """Of the replies that a nurse would want to know of today, how many raise an alert."""
    return share([s for s in scored if s.label.alert], lambda s: s.reading.alert)


def false_alarms(scored: Sequence[Scored]) -> Share:
    """Of the replies that need no nurse today, how many raise an alert all the same."""
    return share([s for s in scored if not s.label.alert], lambda s: s.reading.alert)


def temperatures(scored: Sequence[Scored]) -> Share:
    """Of the replies with a temperature in the label or the reading, how many agree on it."""
    with_one = [s for s in scored if s.label.temperature_c is not None or s.reading.temperature]
    return share(with_one, lambda s: s.temperature_right)


def emergencies(scored: Sequence[Scored]) -> Share:
    """Of the emergencies and talk of self-harm, how many are read as what they are."""
    return share([s for s in scored if s.label.act in DIRE], lambda s: s.dire_right)


def print_scores(title: str, scored: Sequence[Scored]) -> None:
    print(f"\n{title}: {len(scored)} replies")
    print(f"  alert recall             {alert_recall(scored)}")
    print(f"  false alarms             {false_alarms(scored)}")
    print(f"  emergencies, self-harm   {emergencies(scored)}")
    print(f"  temperatures right       {temperatures(scored)}")
    print(f"  act right                {share(scored, lambda s: s.act_right)}")
    print(f"  symptoms exactly right   {share(scored, lambda s: s.symptoms_right)}")
    print(f"  choices right            {share(scored, lambda s: s.choices_right)}")
    for name in ("lang", "asked", "act", "author"):
        _print_groups(name, scored)


def _print_groups(name: str, scored: Sequence[Scored]) -> None:
    groups: dict[str, list[Scored]] = defaultdict(list)
    for one in scored:
        groups[str(getattr(one.label, name) or "both")].append(one)
    print(f"  by {name}: act right | alert right")
    for group, members in sorted(groups.items()):
        act = share(members, lambda s: s.act_right)
        alert = share(members, lambda s: s.alert_right)
        print(f"    {group:20} {act} | {alert}")


def misses(scored: Sequence[Scored]) -> list[str]:
    """Each reply whose act, alert, symptoms, temperature or choices differ from its label."""
    return [_miss(s) for s in scored if not _all_right(s)]


def _all_right(s: Scored) -> bool:
    return (
        s.act_right
        and s.alert_right
        and s.symptoms_right
        and s.temperature_right
        and s.choices_right
    )


def _miss(s: Scored) -> str:
    grave = "MISSED ALARM" if s.label.alert and not s.reading.alert else ""
    false = "FALSE ALARM" if s.reading.alert and not s.label.alert else ""
    got = s.reading.temperature.celsius if s.reading.temperature else None
    return (
        f"{grave or false:13}{s.label.asked:14}{s.label.text!r}\n"
        f"    want {s.label.act} {list(s.label.symptoms)} {s.label.temperature_c}"
        f" {list(s.label.choices)} alert={s.label.alert}\n"
        f"    got  {s.reading.act} {[str(x) for x in s.reading.symptoms]} {got}"
        f" {list(s.reading.choices)} alert={s.reading.alert} because {list(s.reading.because)}"
    )


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--show-report", action="store_true", help="list report misses as well")
    options.add_argument("--no-misses", action="store_true", help="figures only")
    chosen = options.parse_args()
    read_reply = reader()
    for part in parts():
        scored = score(labels(part), read_reply)
        print_scores(part, scored)
        if not chosen.no_misses and (part == "tune" or chosen.show_report):
            print("  misses:")
            print("\n".join(f"  {line}" for line in misses(scored)) or "  none")


if __name__ == "__main__":
    main()
