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
$bin/python -m pytest -q -n 2 -m "not slow and not peers"
if [ "${1:-}" != "fast" ]; then
    echo "== tests, slow part and protocol peers"
    $bin/python -m pytest -q -m "slow or peers"
fi
