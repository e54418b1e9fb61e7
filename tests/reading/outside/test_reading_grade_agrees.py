"""The automated readability index agrees with textstat 0.7.13, which was written by others."""

import subprocess
import sys

import pytest
from peer_packages import ENVIRONMENT, PYTHON, needed

from bot.content.readability import automated_index, english

pytestmark = pytest.mark.peers

TEXTS = (
    "Please wash tonight with the special soap. Start at the neck and go down. Leave it on "
    "for two minutes, then rinse. Put on clean clothes and sleep on clean sheets.",
    "A nurse will call you before surgery. They will ask how you are and what you take.",
)
PROGRAM = f"""
import textstat
for text in {TEXTS!r}:
    print(textstat.automated_readability_index(text))
"""


def test_the_index_agrees_with_another_implementation():
    package = needed("textstat")
    inside = str(package.locate_file("")).startswith(str(ENVIRONMENT))
    python = str(PYTHON) if inside else sys.executable
    run = subprocess.run([python, "-c", PROGRAM], capture_output=True, text=True, check=True)
    theirs = [float(line) for line in run.stdout.split()]
    assert [automated_index(english(text)) for text in TEXTS] == pytest.approx(theirs, abs=0.3)
