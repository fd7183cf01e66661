#!/usr/bin/env python3
"""The commands of a working copy; needs Python 3.11 or later, and nothing else.

    python3 dev.py demo [DIR]    set up, then run `parambak demo`
    python3 dev.py tests [...]   set up, then run the tests (the rest goes to pytest)
    python3 dev.py gates [...]   format, lint, types, documents, tests with coverage; or those named
    python3 dev.py documents     write the generated documents again

What is needed is installed into `.venv` next to this file, from the network the first
time only. The exit code is that of what was run; 2 if it could not be set up.
"""

# This file must parse on old Pythons, to report that they are too old:
# no syntax newer than 3.6 here.
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

if sys.version_info < (3, 11):  # noqa: UP036 - the one check that older versions are to meet
    sys.stderr.write(
        "dev.py: Python 3.11 or later is needed, and this is Python {}.{}; "
        "run it with a newer one, as in `python3.11 dev.py`\n".format(*sys.version_info[:2])
    )
    sys.exit(2)

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
STAMP = VENV / "parambak-setup.txt"
SCRIPTS = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = SCRIPTS / ("python.exe" if os.name == "nt" else "python")
PARAMBAK = SCRIPTS / ("parambak.exe" if os.name == "nt" else "parambak")
PROBE = "import sys; print(sys.version_info[:3], sys.prefix)"
TESTS = ["-m", "pytest", "-n", "auto", "--dist", "worksteal"]
GATES = [
    ("format", ["-m", "ruff", "format", "--check", "."]),
    ("lint", ["-m", "ruff", "check", "."]),
    ("types", ["-m", "mypy"]),
    ("documents", ["-m", "documents", "--check"]),
    ("tests", [*TESTS, "--cov", "--cov-branch", "--cov-report=term"]),
]


class SetupError(Exception):
    """The working copy cannot be set up; the text gives the reason and the next step."""


def main(arguments: list[str]) -> int:
    """Run one command; return its exit code, or 2 if it could not be run."""
    command, rest = (arguments or [""])[0], arguments[1:]
    if command not in COMMANDS or (rest and command not in TAKES_MORE):
        asked = command in ("-h", "--help", "help")
        (sys.stdout if asked else sys.stderr).write(__doc__ or "")
        return 0 if asked else 2
    try:
        return COMMANDS[command](rest)
    except SetupError as error:
        sys.stderr.write(f"dev.py: {error}\n")
        return 2
    except KeyboardInterrupt:
        return 130


def demo(rest: list[str]) -> int:
    """Run the demo in the present folder, which is where its folder is made."""
    set_up("")
    return run([str(PARAMBAK), "demo", *rest])


def tests(rest: list[str]) -> int:
    """Run the tests."""
    set_up("[dev]")
    return run([str(PYTHON), *TESTS, *rest], ROOT)


def documents(_rest: list[str]) -> int:
    """Write the generated documents again."""
    set_up("[dev]")
    return run([str(PYTHON), "-m", "documents"], ROOT)


def gates(rest: list[str]) -> int:
    """Run every gate, or those named, also after one has failed; return the first code not 0."""
    names = [name for name, _ in GATES]
    if not set(rest) <= set(names):
        sys.stderr.write("dev.py: the gates are {}\n".format(", ".join(names)))
        return 2
    set_up("[dev]")
    results = []
    for name, arguments in GATES:
        if rest and name not in rest:
            continue
        say(f"{name}: python {' '.join(arguments)}")
        started = time.monotonic()
        code = run([str(PYTHON), *arguments], ROOT)
        results.append((name, code, time.monotonic() - started))
    for name, code, seconds in results:
        say(f"{name:<10} {'holds' if code == 0 else f'FAILS, exit {code}':<15} {seconds:6.1f} s")
    return next((code for _, code, _ in results if code), 0)


def set_up(extra: str) -> None:
    """Make `.venv` fit this Python, this folder and pyproject.toml; quick if it does.

    `extra` is "" for the program alone, or "[dev]". What is there already and fits
    is left alone, so that a second run needs no network.
    """
    if not usable():
        make_venv()
    project = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    done = STAMP.read_text(encoding="utf-8").split("\n") if STAMP.exists() else []
    if done[:2] == [project, str(ROOT)] and extra in ("", *done[2:3]):
        return
    say(f"installing parambak{extra} into {VENV}; the first time takes a minute")
    install(extra)
    STAMP.write_text(f"{project}\n{ROOT}\n{extra}\n", encoding="utf-8")


def usable() -> bool:
    """Return whether `.venv` runs, is of this Python's version, and was made in this folder."""
    if STAMP.exists() and str(ROOT) not in STAMP.read_text(encoding="utf-8").split("\n"):
        return False  # moved: its scripts name the folder where they were made
    try:
        probed = subprocess.run(
            [str(PYTHON), "-c", PROBE],
            capture_output=True,
            text=True,
            check=False,
            env=environment(),
            timeout=60,
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return probed.stdout.strip() == f"{tuple(sys.version_info[:3])} {VENV}"


def make_venv() -> None:
    """Make `.venv` again, in the place of one that does not fit."""
    if not all(importlib.util.find_spec(name) for name in ("venv", "ensurepip")):
        raise SetupError(
            "this Python has no complete venv module; install it "
            "(Debian and Ubuntu: apt install python3-venv), then run this again"
        )
    if VENV.is_dir() and any(VENV.iterdir()) and not (VENV / "pyvenv.cfg").exists():
        raise SetupError(f"{VENV} is not a virtual environment; move it away, then run this again")
    say(f"{'rebuilding' if VENV.exists() else 'making'} {VENV}")
    try:
        if VENV.is_dir() and not VENV.is_symlink():
            shutil.rmtree(VENV)
        else:
            VENV.unlink(missing_ok=True)
    except OSError as error:
        raise SetupError(f"{VENV} cannot be removed ({error}); remove it by hand") from error
    made = subprocess.run(
        [sys.executable, "-m", "venv", str(VENV)],
        capture_output=True,
        text=True,
        check=False,
        env=environment(),
    )
    if made.returncode:
        raise SetupError(f"{VENV} cannot be made: {last_line(made.stderr or made.stdout)}")


def install(extra: str) -> None:
    """Install the project into `.venv`, in a way that follows changes in this folder."""
    STAMP.unlink(missing_ok=True)
    options = ["--quiet", "--disable-pip-version-check", "--no-input", "--retries", "2"]
    done = subprocess.run(
        [str(PYTHON), "-m", "pip", "install", *options, "--editable", f"{ROOT}{extra}"],
        capture_output=True,
        text=True,
        check=False,
        env=environment(),
    )
    if done.returncode:
        raise SetupError(
            "the packages could not be installed; the first run needs the network. "
            f"pip said: {last_line(done.stderr or done.stdout)}"
        )


def run(command: list[str], folder: "Path | None" = None) -> int:
    """Run a command to its end, in the folder given or the present one; return its exit code."""
    sys.stdout.flush()
    try:
        code = subprocess.run(command, cwd=folder, check=False, env=environment()).returncode
    except OSError as error:
        raise SetupError(f"{command[0]} cannot be run ({error}); remove {VENV}") from error
    return code if code >= 0 else 128 - code


def environment() -> "dict[str, str]":
    """Return the environment less what would lead `.venv` to other libraries."""
    foreign = {"PYTHONHOME", "PYTHONPATH", "VIRTUAL_ENV", "__PYVENV_LAUNCHER__"}
    return {name: value for name, value in os.environ.items() if name not in foreign}


def last_line(output: str) -> str:
    """Return the most useful line of an output: its last error, else its last line."""
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    errors = [line for line in lines if line.startswith("ERROR")]
    return (errors or lines or ["nothing"])[-1]


def say(text: str) -> None:
    """Print what is being done."""
    print(f"dev.py: {text}", flush=True)


COMMANDS = {"demo": demo, "tests": tests, "gates": gates, "documents": documents}
TAKES_MORE = ("demo", "tests", "gates")

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
