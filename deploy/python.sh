# Sourced: finds a Python that is new enough and makes a virtual environment with this project in it.
# No root, nothing compiled; plain words where something is missing. Sets $venv.

say() { printf '%s\n' "$*" >&2; }
give_up() { say "lyewatch: $*"; exit 2; }

find_python() {
    for name in ${PYTHON:-} python3.13 python3.12 python3.11 python3; do
        if command -v "$name" >/dev/null 2>&1 &&
            "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
            printf '%s\n' "$name"
            return
        fi
    done
    give_up "needs Python 3.11 or newer; found $(python3 --version 2>/dev/null || printf 'none').
On Debian 12, Raspberry Pi OS or newer: sudo apt install python3 python3-venv"
}

# make_venv FOLDER EXTRAS
make_venv() {
    venv=$1
    python=$(find_python) || exit 2
    stamp="$venv/.made-from"
    # the environment points into this checkout, and installing is what builds the page there
    wanted="$root $(cksum <"$root/pyproject.toml") $2 $("$python" --version)"
    [ -d "$root/controller/dashboard/dist" ] && [ -f "$stamp" ] && [ "$(cat "$stamp")" = "$wanted" ] && return
    if ! "$python" -c 'import venv, ensurepip' >/dev/null 2>&1; then
        give_up "this Python cannot make virtual environments. On Debian: sudo apt install python3-venv"
    fi
    "$python" -m venv --clear "$venv" || give_up "no virtual environment could be made in $venv: is the disk full?"
    say "Fetching packages (once, about a minute) ..."
    log="$venv/pip.log"
    # lgpio-free: nothing that a PC lacks; wheels only, but for a few small pure-Python ones that have none
    if ! "$venv/bin/python" -m pip install --quiet --disable-pip-version-check --prefer-binary \
        --only-binary numpy,pydantic-core,cryptography,iotcore -e "$root[$2]" >"$log" 2>&1; then
        say "$(grep '^ERROR' "$log" | head -n 1)"
        give_up "packages could not be installed. Is there a network, or a package index set in pip.conf? All of it: $log"
    fi
    printf '%s' "$wanted" >"$stamp"
}
