"""Where the peers' packages are found, and how their own environment is made.

They are for the comparison only, so they live in `.venv-peers/`, beside those of the clinical
pipeline, made by `python tests/benchmarks/peers/packages.py`.
"""

import importlib.metadata
import subprocess
import venv
from pathlib import Path

ENVIRONMENT = Path(__file__).parents[3] / ".venv-peers"
PYTHON = ENVIRONMENT / "bin" / "python"
PINNED = {  # the figures in docs/performance.md hold for these
    "aiogram": "3.31.0",
    "redis": "7.4.1",
    "hiredis": "3.5.0",
    "APScheduler": "3.11.3",
    "procrastinate": "3.10.0",
}
HOW = "make it with `python tests/benchmarks/peers/packages.py`"


def places():
    """The folder of the peers' packages, as the module search path takes it."""
    return [str(path) for path in ENVIRONMENT.glob("lib/python*/site-packages")]


def version(name):
    """The installed version, in the peers' environment or the running one; None: not there."""
    for path in (places(), None):
        where = {"path": path} if path is not None else {}
        found = next(iter(importlib.metadata.distributions(name=name, **where)), None)
        if found is not None:
            return found.version
    return None


def make_environment():
    """Make `.venv-peers/` with the pinned packages; nothing when they are there already."""
    if not PYTHON.exists():
        venv.create(ENVIRONMENT, with_pip=True)
    wanted = [f"{name}=={pin}" for name, pin in PINNED.items() if version(name) != pin]
    if wanted:
        subprocess.run([PYTHON, "-m", "pip", "install", "-q", *wanted], check=True)


if __name__ == "__main__":
    make_environment()
    print(f"ready: {ENVIRONMENT}")
