#!/bin/sh
# Everything that must hold, in one command: style, types, import rules, content, tests.
#   sh tests/run.sh            the fast part (under two minutes) and the slow part
#   sh tests/run.sh fast       the fast part only
#   sh tests/run.sh PYTEST-ARGUMENTS ...    just these tests
set -eu
cd "$(dirname "$0")/.."
. demo_scripts/environment.sh
make_environment "dev"
bin=.venv/bin

if [ "$#" -gt 0 ] && [ "$1" != "fast" ]; then
    exec $bin/python -m pytest "$@"
fi

# Other people's programs that the tests talk to. Without one, its tests are skipped with a line that
# says so; in CI that is a failure.
prepare_peers() {
    echo "== peers"
    $bin/python tests/reading/outside/peer_packages.py || echo "no clinical pipeline to compare with"
    for folder in tests/channels/peers tests/web/browser; do
        [ -f "$folder/package.json" ] || continue
        if command -v npm >/dev/null 2>&1; then
            (cd "$folder" && npm ci --silent --no-audit --no-fund) || echo "npm ci failed in $folder"
        else
            echo "npm is not here: the peers in $folder are left out"
        fi
    done
}

[ "${1:-}" = "fast" ] || prepare_peers # the tests look for them as they are collected
echo "== style"
$bin/ruff check bot flows tests
$bin/ruff format --check --quiet bot flows tests
echo "== types"
$bin/mypy
echo "== import rules"
$bin/lint-imports --no-cache
echo "== content"
$bin/countdown check
echo "== tests, fast part"
# each file on one of the two processes, so that what a file makes once is made once
$bin/python -m pytest -q -n 2 --dist loadfile -m "not slow and not peers"
if [ "${1:-}" != "fast" ]; then
    echo "== tests, slow part and protocol peers"
    $bin/python -m pytest -q -m "slow or peers"
fi
