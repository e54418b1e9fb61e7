"""A Redis server of the benchmark's own: every write is on the disk before it is acknowledged."""

import shutil
import socket
import subprocess
import time
from contextlib import contextmanager

import measured

ABSENT = "redis-server is not here (on Debian: apt-get install redis-server)"


def is_here():
    return shutil.which("redis-server") is not None


@contextmanager
def running(folder):
    """A server in `folder`; gives its socket's path and how much CPU it has used."""
    path = f"{folder}/redis.sock"
    server = subprocess.Popen(
        ["redis-server", "--port", "0", "--unixsocket", path, "--dir", str(folder), "--save", "",
         "--appendonly", "yes", "--appendfsync", "always", "--daemonize", "no"],
        stdout=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        _wait_for(path)
        yield path, lambda: measured.seconds_of_processes(server.pid)
    finally:
        server.terminate()
        server.wait()


def _wait_for(path):
    for _ in range(100):
        with socket.socket(socket.AF_UNIX) as knock:
            if knock.connect_ex(path) == 0:
                return
        time.sleep(0.05)
    raise RuntimeError("redis-server did not begin to listen within 5 seconds")
