#!/bin/sh
# Installs what is missing and runs the tests: sh tests/run.sh [OPTION OF pytest]...
set -eu

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P)
# shellcheck source=.ci/environment.sh
. "$root/.ci/environment.sh"

# Chromium without windows costs the tests least; the one that people use serves as well.
browser=chromium-headless-shell
if machine_has chromium; then
    browser=chromium
fi
# The program that steers the browser comes with pip and needs a library that a bare Debian lacks.
prepare test "$browser=$browser" libatomic.so.1=libatomic1
cd -- "$root"
# Where Python is told to keep nothing that it compiled, every worker would compile all tests anew (half of its way to
# the first one), and each of the hundred starts of the program the program.
unset PYTHONDONTWRITEBYTECODE
exec .venv/bin/python -m pytest -n auto --dist loadfile --no-loadscope-reorder "$@"
