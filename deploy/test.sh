#!/bin/sh
# Everything that is tested, from nothing: packages, a broker, then the checks one after another.
#   deploy/test.sh                  all of it
#   deploy/test.sh tests/core -x    some of it: what follows is for pytest
set -eu
root=$(cd "$(dirname "$0")/.." && pwd)
. "$root/deploy/python.sh"

# need PROGRAM PACKAGE WHY: a program from Debian, installed where that can be done
need() {
    if command -v "$1" >/dev/null 2>&1 || [ -x "/usr/sbin/$1" ]; then return; fi
    if [ "$(id -u)" != 0 ] || ! command -v apt-get >/dev/null 2>&1; then
        give_up "$3: sudo apt install $2"
    fi
    [ -n "${updated:-}" ] || apt-get -qq update
    updated=yes
    DEBIAN_FRONTEND=noninteractive apt-get -qq install -y --no-install-recommends "$2" >/dev/null
}

need mosquitto mosquitto "the tests of the link need a broker"
need chromium chromium "the tests of the phone page need a browser"
need systemd-analyze systemd "the tests of the units need their checker"
make_venv "${LYEWATCH_TEST_VENV:-$root/.venv-test}" demo,page,notify,export,plot,test
cd "$root"
PATH="$venv/bin:$PATH"
export PATH
ruff check .
mypy
lint-imports

# What was asked for may be all of one kind: pytest says 5 when there is none of the other. There must be some of either.
kinds=0
tests() {
    code=0
    pytest -q --hypothesis-profile repeatable "$@" || code=$?
    [ "$code" = 5 ] && return
    kinds=$((kinds + 1))
    return "$code"
}
tests -m "not real" -n auto "$@"
# Tests of real processes, brokers and browsers mostly wait, so two files go side by side. They share the machine with
# whatever else runs there: those that failed get one more chance, alone, and are named. What is wrong fails twice. The
# tests above have no such excuse.
tests -m real -n 2 --dist loadfile "$@" || {
    say "Once more, only what failed:"
    pytest -v -m real --hypothesis-profile repeatable --last-failed --last-failed-no-failures none "$@"
}
[ "$kinds" -gt 0 ] || give_up "no test is called that"
