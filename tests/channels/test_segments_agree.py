"""5,000 generated texts, counted by us and by libraries written by others."""

import json
import random
import subprocess
from pathlib import Path

import gsm0338
import pytest

from bot.core.segments import GSM_BASIC, GSM_EXTENSION, Alphabet, count

PEERS = Path(__file__).parent / "peers"
PLAIN = sorted(GSM_BASIC - set("\r\f")) + list("etaoin shrdlu") * 6
TEXTS_MADE = 5_000


def generated_texts() -> list[str]:
    """Texts around every edge: plain, with two-septet signs, with accents, with wide signs."""
    rng = random.Random(20261125)
    mixes = (
        PLAIN,
        PLAIN + sorted(GSM_EXTENSION - {"\f"}) * 4,
        [*PLAIN, *"áíóúÁÍÓÚ"],
        [*PLAIN, *"👍🙂😷日本"],
        [*"€[]{}~^|\\"],
        [*"👍🙂"],
    )
    edges = (67, 70, 134, 153, 160, 306, 459)
    texts = []
    for turn in range(TEXTS_MADE):
        near = rng.choice(edges) + rng.randint(-3, 3)
        length = near if turn % 2 else rng.randint(1, 480)
        mix = rng.choice(mixes)
        texts.append("".join(rng.choice(mix) for _ in range(length)))
    return texts


def by_codec(text: str) -> tuple[Alphabet, int] | None:
    """Alphabet and septets from the independent codec; None where it has no GSM coding."""
    try:
        return Alphabet.GSM7, len(gsm0338.Codec().encode(text)[0])
    except UnicodeError:
        return None


@pytest.mark.slow
def test_5000_texts_have_the_alphabet_and_septets_of_the_python_codec() -> None:
    for text in generated_texts():
        ours, theirs = count(text), by_codec(text)
        assert (ours.alphabet is Alphabet.GSM7) == (theirs is not None), text
        if theirs:
            assert ours.units == theirs[1], text
        else:
            assert ours.units == len(text.encode("utf-16-be")) // 2, text


@pytest.mark.peers
def test_5000_texts_take_the_parts_that_two_other_libraries_count(node: str) -> None:
    texts = generated_texts()
    answer = subprocess.run(
        [node, str(PEERS / "segments.js")],
        input=json.dumps(texts),
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    counted = json.loads(answer.stdout)
    assert len(counted) == TEXTS_MADE
    names = {"GSM-7": Alphabet.GSM7, "UCS-2": Alphabet.UCS2}
    kinds = {"GSM": Alphabet.GSM7, "GSMEscape": Alphabet.GSM7, "Unicode": Alphabet.UCS2}
    wrong = []
    for text, other in zip(texts, counted, strict=True):
        ours = (count(text).alphabet, count(text).parts)
        first = (names[other["calculator"][0]], other["calculator"][1])
        second = (kinds[other["split"][0]], other["split"][1])
        if not ours == first == second:
            wrong.append((ours, first, second, text))
    assert not wrong, f"{len(wrong)} differ, first: {wrong[0]}"
