"""How many replies one core reads in a second, and how long the worst texts take per kilobyte.

Run: .venv/bin/python tests/benchmarks/bench_reader.py
"""

import random
import statistics
import string
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from ruamel.yaml import YAML

from bot.content.lexicon import load_lexicon
from bot.reading.lexicon import Lexicon
from bot.reading.reader import read
from bot.reading.reading import Asked

UTTERANCES = Path(__file__).resolve().parents[1] / "reading"
ROUNDS = 5


def replies() -> list[tuple[str, Asked]]:
    """The labelled utterances of our own tests, as a mix that patients would send."""
    found = []
    for path in sorted(UTTERANCES.glob("utterances_*.yaml")):
        for row in YAML(typ="safe").load(path.read_text(encoding="utf-8"))["utterances"]:
            found.append((row["text"], Asked(row["asked"])))
    return found


def worst_texts() -> dict[str, str]:
    """Long texts that strain one part of the reader each, about 100 kB."""
    rng = random.Random(7)
    letters = string.ascii_lowercase
    nonsense = " ".join("".join(rng.choices(letters, k=rng.randint(4, 11))) for _ in range(13_000))
    return {
        "nonsense words": nonsense,
        "one alarm word": "fever " * 16_000,
        "negations": "no not never dont " * 5_500,
        "numbers": "101.2 98 one hundred and one " * 3_500,
        "gaps": "chest leg throat skin foot " * 3_700,
        "emoji": "🤒🤧" * 12_500,
        "one letter": "a" * 100_000,
        "spaces": " " * 100_000,
        "punctuation": ".,?!" * 25_000,
        "control signs": "\u202e\x00\x07a" * 20_000,
    }


def seconds(run: Callable[[], object]) -> float:
    """Time of this process for one run: others on the machine do not count."""
    begin = time.process_time()
    run()
    return time.process_time() - begin


def main(lexicon: Lexicon) -> None:
    """Prints the figures."""
    batch = replies()

    def read_all() -> None:
        for text, asked in batch:
            read(text, asked, lexicon)

    cold = seconds(read_all)
    warm = statistics.median(seconds(read_all) for _ in range(ROUNDS))
    print(f"{len(batch)} replies: cold {len(batch) / cold:,.0f}/s, warm {len(batch) / warm:,.0f}/s")
    for name, text in worst_texts().items():
        kilobytes = len(text.encode()) / 1000
        spent = seconds(lambda text=text: read(text, Asked.SYMPTOM_CHECK, lexicon))  # type: ignore[misc]
        print(f"{name:16} {kilobytes:7.0f} kB {1000 * spent / kilobytes:6.2f} ms/kB")


if __name__ == "__main__":
    main(load_lexicon())
