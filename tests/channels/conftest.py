"""Fixtures that start the protocol peers: servers written by others."""

import shutil
import subprocess

import pytest
from peer_process import PEERS, absent


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
