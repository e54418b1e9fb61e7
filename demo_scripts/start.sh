#!/bin/sh
# The main job in one command: make the environment, check the content, enrol an invented schedule,
# play the demo. `sh demo_scripts/start.sh serve` starts the real thing on an SQLite file instead.
set -eu
cd "$(dirname "$0")/.."
. demo_scripts/environment.sh
make_environment ""

case "${1:-demo}" in
serve)
    shift
    exec .venv/bin/countdown serve "$@"
    ;;
demo)
    data="$(mktemp -d)"
    trap 'rm -rf "$data"' EXIT
    export COUNTDOWN_DATABASE="sqlite:///$data/demo.db"
    echo
    echo "1. The conversations are checked before anyone gets a message:"
    .venv/bin/countdown check
    echo
    echo "2. An invented surgery schedule is enrolled (demo_scripts/schedule.csv):"
    .venv/bin/countdown import demo_scripts/schedule.csv
    echo
    echo "3. One patient's countdown, from enrolment to the operating-room door, on a virtual clock:"
    .venv/bin/countdown demo fever_postponed
    cat <<'END'

What to type next:
  .venv/bin/countdown demo --list        the other stories: a silent patient, a rash from the soap ...
  .venv/bin/countdown talk               you are the patient, with a clock that you can move
  .venv/bin/countdown plan --help        one patient's dated countdown
  sh demo_scripts/start.sh serve         the real thing, on an SQLite file
  sh tests/run.sh                        the tests
END
    ;;
*)
    echo "start.sh: '$1' is not known. Say nothing for the demo, or: sh demo_scripts/start.sh serve" >&2
    exit 2
    ;;
esac
