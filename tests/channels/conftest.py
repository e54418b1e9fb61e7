"""Fixtures that start the protocol peers: servers written by others."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

PEERS = Path(__file__).parent / "peers"


def absent(what: str, how: str) -> None:
    """Skips with one clear line; in CI a missing peer is a failure."""
    line = f"{what} is not here: {how}"
    if os.environ.get("CI") == "true":
        pytest.fail(line, pytrace=False)
    pytest.skip(line)


@pytest.fixture(scope="session")
def node() -> str:
    """The node program, with the peers' packages installed beside it."""
    program = shutil.which("node")
    if not program or not shutil.which("npm"):
        absent("node", "install Node.js 20 and npm to run the tests against protocol peers")
    if not (PEERS / "node_modules").is_dir():
        made = subprocess.run(
            ["npm", "run", "--silent", "prepare-peers"], cwd=PEERS, capture_output=True, text=True
        )
        if made.returncode:
            absent("the peers' npm packages", made.stderr.strip()[-200:])
    return str(program)
