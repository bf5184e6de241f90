# shellcheck shell=sh
# What monitor/start.sh and tests/run.sh share: from a bare Debian to a virtual environment that holds the project.
# To be sourced; $root is the project's folder. Nothing touches the network once everything is there.

: "${root:?is to be set by the script that sources this file}"

python_floor='3, 11'
modules='alembic, argon2, cobs, fastapi, matplotlib, numpy, platformdirs, prometheus_client, pydantic, rich, scipy, serial, sqlalchemy, tomli_w,
typer, tzdata, uvicorn, websockets'

say() {
    printf 'hang monitor: %s\n' "$*" >&2
}

fail() {
    for line in "$@"; do
        say "$line"
    done
    exit 1
}

new_enough() {
    "$1" -c "import sys; sys.exit(sys.version_info < ($python_floor))" >/dev/null 2>&1
}

# Sets $python to the first interpreter that is new enough; false when there is none.
find_python() {
    for python in python3 python3.14 python3.13 python3.12 python3.11; do
        if new_enough "$python"; then
            return 0
        fi
    done
    return 1
}

install_debian_packages() {
    if ! command -v apt-get >/dev/null 2>&1; then
        fail "these packages are missing, and this machine has no apt-get to install them: $*" \
            "install them with the machine's own package manager, then run this again."
    fi
    if [ "$(id -u)" -eq 0 ]; then
        as_root='env'
    elif command -v sudo >/dev/null 2>&1 && { [ -t 0 ] || sudo -n true 2>/dev/null; }; then
        as_root='sudo env'
        say "sudo is used for that and may ask for your password."
    else
        fail "these Debian packages are missing, and only the administrator may install them: $*" \
            "have them installed with 'apt-get install $*', then run this again."
    fi
    # A list that is a day old still serves, so a failing update alone stops nothing. Machines that have just been
    # switched on often update themselves: wait for their lock instead of giving up.
    $as_root apt-get -q -o DPkg::Lock::Timeout=300 update >&2 ||
        say "the list of Debian packages could not be renewed; going on with the old one."
    $as_root DEBIAN_FRONTEND=noninteractive \
        apt-get -q -o DPkg::Lock::Timeout=300 install -y --no-install-recommends "$@" >&2 ||
        fail "apt-get could not install: $*" \
            "look at its message above; when the network is back, run this again."
}

environment_key() {
    {
        cat "$root/pyproject.toml" "$root/.ci/constraints.txt"
        "$root/.venv/bin/python" -VV
        printf '%s\n' "$root"
    } | cksum
}

# False for one without pip or of an old Python, and for one that was moved: its programs name their old place.
environment_is_usable() {
    new_enough "$root/.venv/bin/python" && "$root/.venv/bin/python" -m pip --version >/dev/null 2>&1 &&
        grep -qF "$root/.venv/" "$root/.venv/bin/pip" 2>/dev/null
}

# True when the environment is there and was completed from the files as they are now, with the wanted extra or more.
environment_is_current() {
    [ -x "$root/.venv/bin/hang-monitor" ] && new_enough "$root/.venv/bin/python" || return 1
    key=$(environment_key)
    for stamp in "$root/.venv/hang-monitor$1.stamp" "$root/.venv/hang-monitor-test.stamp"; do
        if [ -f "$stamp" ] && [ "$(cat "$stamp")" = "$key" ]; then
            return 0
        fi
    done
    return 1
}

# Loading all of them costs a small board seconds, so the daily check loads only two that hold machine code.
modules_load() {
    "$root/.venv/bin/python" -c "import $(printf '%s' "$1" | tr '\n' ' ')" >/dev/null 2>&1
}

make_venv() {
    if [ -L "$root/.venv" ]; then
        fail "$root/.venv is a link to $(readlink "$root/.venv"): an environment that others may use." \
            "remove the link, then run this again; or call that environment's programs directly."
    fi
    if [ -e "$root/.venv" ] && [ ! -e "$root/.venv/pyvenv.cfg" ] && [ ! -d "$root/.venv/bin" ]; then
        fail "$root/.venv is there and is no virtual environment." "move it away, then run this again."
    fi
    "$python" -m venv --clear "$root/.venv" ||
        fail "the virtual environment could not be made in $root/.venv." \
            "look at the message above: is the folder yours, is the disk full?"
}

install_project() {
    talk='-q'
    if [ -t 2 ]; then
        talk='--progress-bar=on'
    fi
    # The constraints also bind what pip fetches to build the project. The path is relative because pip splits this
    # variable at spaces; older and newer versions of pip read one variable each for the build.
    (
        cd -- "$root"
        PIP_CONSTRAINT=.ci/constraints.txt
        PIP_BUILD_CONSTRAINT=.ci/constraints.txt
        PIP_DISABLE_PIP_VERSION_CHECK=1
        PIP_USER=0
        export PIP_CONSTRAINT PIP_BUILD_CONSTRAINT PIP_DISABLE_PIP_VERSION_CHECK PIP_USER
        .venv/bin/python -m pip install "$talk" -e ".${1:+[$1]}" >&2
    ) || fail "the Python packages could not be installed into $root/.venv." \
        "look at pip's message above; when the network is back and the disk has room, run this again."
}

# True when this machine has the program, or the shared library (lib*.so.*). Who has no ldconfig has no Debian, and may
# keep libraries anywhere.
machine_has() {
    case $1 in
    lib*.so.*)
        cache=$(PATH="$PATH:/usr/sbin:/sbin" && command -v ldconfig) || return 0
        "$cache" -p | grep -qF "$1"
        ;;
    *) command -v "$1" >/dev/null 2>&1 ;;
    esac
}

# prepare EXTRA [NEED=PACKAGE...]: make the environment with the extra ("" for none), and install the Debian packages
# whose program or shared library is missing.
prepare() {
    extra=$1
    megabytes=400
    if [ -n "$extra" ]; then
        megabytes=700
    fi
    shift

    packages=''
    for need in "$@"; do
        machine_has "${need%%=*}" || packages="$packages ${need#*=}"
    done

    ready=yes
    environment_is_current "${extra:+-$extra}" && modules_load 'numpy, pydantic' || ready=no

    usable=yes
    environment_is_usable || usable=no

    if [ "$ready" = no ] && [ "$usable" = no ]; then
        if find_python; then
            "$python" -c 'import ensurepip' >/dev/null 2>&1 || packages="$packages $python-venv"
        elif command -v python3 >/dev/null 2>&1; then
            fail "Python 3.11 or newer is needed, and this machine has $(python3 -V 2>&1)." \
                "Debian 12 and everything newer brings one; or install a package such as python3.11 beside the old one."
        else
            packages="$packages python3 python3-venv"
        fi
    fi

    if [ "$ready" = no ] && ! { [ -w "$root" ] && { [ ! -e "$root/.venv" ] || [ -w "$root/.venv" ]; }; }; then
        fail "$root and the .venv in it are not yours to write in." \
            "run this as the user to whom they belong, or copy the project to a folder of your own."
    fi
    if [ -n "$packages" ]; then
        say "to be installed on this machine with apt-get:$packages"
    fi
    if [ "$ready" = no ]; then
        say "to be installed into $root/.venv with pip: the project and its libraries, in the versions of" \
            ".ci/constraints.txt (the first time: about $megabytes MB and some minutes)"
    fi
    if [ -n "$packages" ]; then
        # shellcheck disable=SC2086  # a list of names, to be split
        install_debian_packages $packages
    fi
    if [ "$ready" = yes ]; then
        return 0
    fi

    if [ "$usable" = no ]; then
        find_python || fail "Python 3.11 or newer is needed, and apt-get brought an older one: $(python3 -V 2>&1)."
        make_venv
    fi
    install_project "$extra"
    if ! modules_load "$modules"; then
        say "the libraries in $root/.venv do not load; it is made anew."
        find_python || fail "Python 3.11 or newer is needed to make it; python3 is $(python3 -V 2>&1)."
        make_venv
        install_project "$extra"
        "$root/.venv/bin/python" -c "import $(printf '%s' "$modules" | tr '\n' ' ')" >/dev/null ||
            fail "the libraries do not load on this machine; the reason is in the last line above."
    fi
    environment_key >"$root/.venv/hang-monitor${extra:+-$extra}.stamp"
    say "ready."
}
