# Sourced by start.sh and tests/run.sh: makes .venv once, and again whenever what it needs changed.
# Usage: . demo_scripts/environment.sh [extra ...]      (run from the checkout)
# Wants Python 3.11 or newer and a package registry; nothing else.

find_python() {
    for name in "${PYTHON:-python3}" python3 python3.13 python3.12 python3.11; do
        if command -v "$name" >/dev/null 2>&1 &&
            "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$name"
            return 0
        fi
    done
    return 1
}

make_environment() {
    extras="$1"
    stamp=".venv/.made-$(echo "$extras" | tr ',' '-')"
    wanted="$(cat pyproject.toml requirements.lock | cksum) $extras"
    if [ -f "$stamp" ] && [ "$(cat "$stamp")" = "$wanted" ]; then
        return 0
    fi
    python="$(find_python)" || {
        echo "Python 3.11 or newer was not found. Install it, or set PYTHON=/path/to/python3." >&2
        return 1
    }
    echo "Making the environment in .venv (a minute the first time) ..."
    [ -x .venv/bin/python ] || "$python" -m venv .venv || {
        echo "Could not make .venv. On Debian and Ubuntu: apt-get install python3-venv." >&2
        return 1
    }
    .venv/bin/python -m pip install -qq --disable-pip-version-check \
        --constraint requirements.lock --editable ".${extras:+[$extras]}" || {
        echo "Could not install what pyproject.toml asks for. Is the package registry reachable?" >&2
        return 1
    }
    echo "$wanted" >"$stamp"
}
