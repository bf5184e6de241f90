"""The start-up scripts on machines that lack things, with stand-ins for python3 and apt-get on the search path."""

from __future__ import annotations

import re
import shutil
import subprocess
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
TOOLS = ("cat", "chmod", "cksum", "cp", "dirname", "env", "grep", "mkdir", "rm", "sh", "tr")

# It behaves like the interpreter of a machine as far as the scripts ask, and writes down what it was asked to do.
PYTHON = """#!/bin/sh
case "$*" in
*"-m venv --clear "*)
    echo "venv" >>"$CALLS"
    for last in "$@"; do :; done
    rm -rf "$last" && mkdir -p "$last/bin" && cp "$0" "$last/bin/python"
    echo "#!$last/bin/python" >"$last/bin/pip" && echo "home" >"$last/pyvenv.cfg" ;;
*"-m pip install"*)
    for last in "$@"; do :; done
    echo "pip install $last with $PIP_CONSTRAINT" >>"$CALLS"
    [ -z "${PIP_FAILS:-}" ] || exit 1
    echo 'for word in "$@"; do echo "[$word]"; done; echo "in $PWD"' >.venv/bin/hang-monitor
    chmod +x .venv/bin/hang-monitor ;;
*"-m pytest"*) echo "pytest in $PWD" ;;
*-VV* | *-V*) echo "Python ${VERSION:-3.11.2}" ;;
*"sys.version_info <"*) [ -z "${VERSION:-}" ] ;;
*"import ensurepip"*) [ -z "${NO_ENSUREPIP:-}" ] || [ -e "$CALLS.apt" ] ;;
*"import numpy, pydantic"*) [ -z "${BROKEN:-}" ] ;;
esac
"""
APT = """#!/bin/sh
echo "apt-get $*" >>"$CALLS"
case "$*" in *" install "*) touch "$CALLS.apt" && [ -z "${APT_FAILS:-}" ] ;; esac
"""


class Machine:
    """A folder with a copy of the scripts, and a search path that holds nothing but what is put there."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "a folder" / "project"
        for name in (".ci/environment.sh", ".ci/constraints.txt", "monitor/start.sh", "tests/run.sh", "pyproject.toml"):
            (self.root / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, self.root / name)
        self.bin = folder / "bin"
        self.bin.mkdir()
        for tool in (*TOOLS, "touch"):
            (self.bin / tool).symlink_to(str(shutil.which(tool)))
        self.calls_file = folder / "calls"
        self.elsewhere = folder / "elsewhere"
        self.elsewhere.mkdir()

    def put(self, name: str, text: str) -> None:
        (self.bin / name).write_text(text)
        (self.bin / name).chmod(0o755)

    def run(self, script: str, *args: str, **settings: str) -> subprocess.CompletedProcess[str]:
        self.calls_file.write_text("")
        return subprocess.run(
            ["sh", str(self.root / script), *args],
            cwd=self.elsewhere,
            env={"PATH": str(self.bin), "CALLS": str(self.calls_file), **settings},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )

    @property
    def calls(self) -> list[str]:
        return self.calls_file.read_text().splitlines()


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    """Return a machine with a Python that is new enough and whose user is the administrator."""
    machine = Machine(tmp_path)
    machine.put("python3", PYTHON)
    machine.put("id", "#!/bin/sh\necho 0\n")
    machine.put("ldconfig", "#!/bin/sh\necho 'libatomic.so.1 (libc6) => /lib/libatomic.so.1'\n")
    return machine


def test_the_first_start_makes_the_environment_says_so_and_goes_on_from_any_folder(machine: Machine) -> None:
    done = machine.run("monitor/start.sh", "--port", "two words")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["[demo]", "[--port]", "[two words]", f"in {machine.elsewhere}"]
    assert machine.calls == ["venv", "pip install . with .ci/constraints.txt"]
    assert f"to be installed into {machine.root}/.venv" in done.stderr


def test_the_second_start_installs_nothing_and_says_nothing(machine: Machine) -> None:
    machine.run("monitor/start.sh")
    again = machine.run("monitor/start.sh")
    assert (again.returncode, again.stderr, machine.calls) == (0, "", [])


@pytest.mark.parametrize("name", ["pyproject.toml", ".ci/constraints.txt"])
def test_a_changed_description_is_installed_into_the_same_environment(machine: Machine, name: str) -> None:
    machine.run("monitor/start.sh")
    with (machine.root / name).open("a") as file:
        file.write("# changed\n")
    assert machine.run("monitor/start.sh").returncode == 0
    assert machine.calls == ["pip install . with .ci/constraints.txt"]


def test_what_was_installed_for_the_tests_serves_the_start_too_but_not_the_other_way_round(machine: Machine) -> None:
    machine.put("chromium", "#!/bin/sh\n")
    machine.run("monitor/start.sh")
    done = machine.run("tests/run.sh", "--version")
    assert done.stdout.strip() == f"pytest in {machine.root}"
    assert machine.calls == ["pip install .[test] with .ci/constraints.txt"]
    machine.run("monitor/start.sh")
    assert machine.calls == []


def test_a_failed_installation_is_told_and_tried_again(machine: Machine) -> None:
    failed = machine.run("monitor/start.sh", PIP_FAILS="yes")
    assert failed.returncode == 1
    assert "could not be installed" in failed.stderr
    assert "run this again" in failed.stderr
    assert failed.stdout == ""
    assert machine.run("monitor/start.sh").returncode == 0
    assert machine.calls == ["pip install . with .ci/constraints.txt"]


def test_a_moved_environment_is_made_anew(machine: Machine) -> None:
    machine.run("monitor/start.sh")
    machine.root = machine.root.rename(machine.root.with_name("moved"))
    assert machine.run("monitor/start.sh").returncode == 0
    assert machine.calls == ["venv", "pip install . with .ci/constraints.txt"]


def test_libraries_that_do_not_load_are_looked_at_again(machine: Machine) -> None:
    machine.run("monitor/start.sh")
    assert machine.run("monitor/start.sh", BROKEN="yes").returncode == 0
    assert machine.calls == ["pip install . with .ci/constraints.txt"]


def test_something_else_in_the_place_of_the_environment_is_left_alone(machine: Machine) -> None:
    (machine.root / ".venv").mkdir()
    (machine.root / ".venv" / "diary.txt").write_text("mine")
    done = machine.run("monitor/start.sh")
    assert done.returncode == 1
    assert (machine.root / ".venv" / "diary.txt").read_text() == "mine"
    assert "no virtual environment" in done.stderr


def test_an_old_python_is_told_with_its_version_and_nothing_is_made(machine: Machine) -> None:
    done = machine.run("monitor/start.sh", VERSION="3.9.2")
    assert done.returncode == 1
    assert "Python 3.11 or newer is needed, and this machine has Python 3.9.2." in done.stderr
    assert not (machine.root / ".venv").exists()


def test_a_newer_python_beside_an_old_one_is_found(machine: Machine) -> None:
    machine.put("python3", f'#!/bin/sh\nVERSION=3.9.2\nexport VERSION\nexec {machine.bin}/old "$@"\n')
    machine.put("old", PYTHON)
    machine.put("python3.12", PYTHON)
    assert machine.run("monitor/start.sh").returncode == 0
    assert machine.calls == ["venv", "pip install . with .ci/constraints.txt"]


def test_missing_debian_packages_are_named_and_installed(machine: Machine) -> None:
    machine.put("apt-get", APT)
    done = machine.run("tests/run.sh", NO_ENSUREPIP="yes")
    assert done.returncode == 0, done.stderr
    assert "with apt-get: chromium-headless-shell python3-venv" in done.stderr
    assert [c.split()[0] for c in machine.calls] == ["apt-get", "apt-get", "venv", "pip"]
    assert machine.calls[0].endswith(" update")
    assert machine.calls[1].endswith(" install -y --no-install-recommends chromium-headless-shell python3-venv")


def test_a_missing_shared_library_is_installed_too(machine: Machine) -> None:
    machine.put("apt-get", APT)
    machine.put("chromium", "#!/bin/sh\n")
    machine.put("ldconfig", "#!/bin/sh\necho 'libc.so.6 (libc6) => /lib/libc.so.6'\n")
    assert machine.run("tests/run.sh").returncode == 0
    assert machine.calls[1].endswith(" install -y --no-install-recommends libatomic1")


def test_without_apt_get_it_says_what_to_install(machine: Machine) -> None:
    done = machine.run("monitor/start.sh", NO_ENSUREPIP="yes")
    assert done.returncode == 1
    assert "no apt-get to install them: python3-venv" in done.stderr
    assert not (machine.root / ".venv").exists()


def test_a_user_who_may_not_install_is_told_what_to_ask_for(machine: Machine) -> None:
    machine.put("apt-get", APT)
    machine.put("id", "#!/bin/sh\necho 1000\n")
    done = machine.run("monitor/start.sh", NO_ENSUREPIP="yes")
    assert done.returncode == 1
    assert "'apt-get install python3-venv'" in done.stderr
    assert machine.calls == []


def test_a_user_with_sudo_gets_the_packages_through_it(machine: Machine) -> None:
    machine.put("apt-get", APT)
    machine.put("id", "#!/bin/sh\necho 1000\n")
    machine.put("sudo", '#!/bin/sh\necho "sudo" >>"$CALLS"\n[ "$1" = -n ] && shift\nexec "$@"\n')
    (machine.bin / "true").symlink_to(str(shutil.which("true")))
    assert machine.run("monitor/start.sh", NO_ENSUREPIP="yes").returncode == 0
    assert [c.split()[0] for c in machine.calls] == ["sudo", "sudo", "apt-get", "sudo", "apt-get", "venv", "pip"]


def test_an_apt_get_that_fails_is_told(machine: Machine) -> None:
    machine.put("apt-get", APT)
    done = machine.run("monitor/start.sh", NO_ENSUREPIP="yes", APT_FAILS="yes")
    assert done.returncode == 1
    assert "apt-get could not install: python3-venv" in done.stderr


def normalised(name: str) -> str:
    """Return a distribution's name in its one spelling (PEP 503, recalled: runs of ``-_.`` become one dash)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def wanted(requirements: list[str]) -> set[str]:
    return {normalised(re.split(r"[<>=!~;\[ ]", r, maxsplit=1)[0]) for r in requirements}


PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())


def test_the_constraints_are_names_and_versions_and_bind_everything_that_is_asked_for() -> None:
    lines = (ROOT / ".ci" / "constraints.txt").read_text().splitlines()
    lines = [line for line in lines if not line.startswith("#")]
    assert [line for line in lines if not re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.!+]+", line)] == []
    requested = (
        wanted(PROJECT["project"]["dependencies"])
        | wanted(PROJECT["project"]["optional-dependencies"]["test"])
        | wanted(PROJECT["build-system"]["requires"])
    )
    assert requested - {normalised(line.split("==")[0]) for line in lines} == set()


def test_the_start_loads_every_library_that_the_project_depends_on() -> None:
    listed = re.search(r"^modules='([^']*)'", (ROOT / ".ci" / "environment.sh").read_text(), flags=re.MULTILINE)
    assert listed is not None
    owners = packages_distributions()
    loaded = {normalised(owner) for module in re.split(r"[,\s]+", listed[1]) for owner in owners[module]}
    assert loaded == wanted(PROJECT["project"]["dependencies"])


@pytest.mark.parametrize(
    ("shell", "name"),
    [
        ("sh", ".ci/environment.sh"),
        ("sh", "monitor/start.sh"),
        ("sh", "tests/run.sh"),
        ("sh", ".ci/web/check"),
        ("bash", ".ci/run"),
    ],
)
def test_the_shell_can_parse_every_script(shell: str, name: str) -> None:
    parsed = subprocess.run([shell, "-n", str(ROOT / name)], capture_output=True, text=True, check=False)
    assert (parsed.returncode, parsed.stderr) == (0, "")
