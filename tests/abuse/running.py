"""Run one command of `bain` in a process of its own, and judge it as a person would: words, an end, nothing else."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

END_S = 30.0  # a person waits no longer for an answer
MEMORY_MB = 300
CONTROL = {*range(0x20), 0x7F} - {0x09, 0x0A}  # bytes a terminal obeys, but for tab and newline


@dataclass
class Outcome:
    """How a command ended, and what is wrong with that."""

    code: int | None
    took_s: float
    memory_mb: float
    said: bytes
    wrong: list[str] = field(default_factory=list)


def run(arguments: list[str], folder: Path, *, interrupt_s: float | None = None) -> Outcome:
    """Run a command in a folder; from `interrupt_s` on it gets Ctrl-C each second.

    The process is a fork of this one, so that a case costs no start of the interpreter.

    Parameters
    ----------
    arguments : list of str
        What is typed after ``bain``.
    folder : Path
        Where it runs. Its parent must hold nothing else.
    interrupt_s : float, optional
        When it is interrupted, if it has not ended by itself.
    """
    output = folder.parent.parent / f"{folder.parent.name}.said"
    began_s = time.monotonic()
    child = os.fork()
    if child == 0:
        _be_the_command(arguments, folder, output)
    code, memory_mb = _wait(child, began_s, interrupt_s)
    outcome = Outcome(code, time.monotonic() - began_s, memory_mb, output.read_bytes())
    output.unlink()
    outcome.wrong = list(_judge(outcome, folder))
    return outcome


def _be_the_command(arguments: list[str], folder: Path, output: Path) -> None:
    """In the child: never returns."""
    code = 70
    try:
        os.chdir(folder)
        os.setsid()
        descriptor = os.open(output, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.dup2(descriptor, 1)
        os.dup2(descriptor, 2)
        os.environ["BAIN_HOME"] = str(folder)
        for stream, name in ((1, "stdout"), (2, "stderr")):
            setattr(sys, name, os.fdopen(os.dup(stream), "w", encoding="utf-8", buffering=1))
        sys.__stdout__, sys.__stderr__ = sys.stdout, sys.stderr
        from bainwright import cli

        code = cli.main(arguments)
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 70
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        with contextlib.suppress(Exception):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(code)


def _resident_mb() -> float:
    """Memory of this process now, MB."""
    with open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20


FRESH_MB = _resident_mb()  # a command is forked from a process that may have grown since by other tests


def _wait(child: int, began_s: float, interrupt_s: float | None) -> tuple[int | None, float]:
    """The exit status, None for one that had to be killed, and the largest memory of a fresh process, MB."""
    grown_mb = max(0.0, _resident_mb() - FRESH_MB)
    while True:
        ended, status, usage = os.wait4(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status), usage.ru_maxrss / 1024 - grown_mb
        passed_s = time.monotonic() - began_s
        if interrupt_s is not None and passed_s > interrupt_s:
            with contextlib.suppress(ProcessLookupError):
                os.kill(child, signal.SIGINT)
            interrupt_s += 1.0
        if passed_s > END_S:
            os.killpg(child, signal.SIGKILL)
            _, _, usage = os.wait4(child, 0)
            return None, usage.ru_maxrss / 1024 - grown_mb
        time.sleep(0.01)


def _judge(outcome: Outcome, folder: Path) -> Iterator[str]:
    if outcome.code is None:
        yield f"did not end within {END_S:g} s"
    elif outcome.code not in (0, 1, 2, 3):
        yield f"exit status {outcome.code}"
    if b"Traceback" in outcome.said:
        yield "a traceback: " + outcome.said.decode(errors="replace").strip().splitlines()[-1][:200]
    if not outcome.said.strip():
        yield "no words"
    if outcome.memory_mb > MEMORY_MB:
        yield f"{outcome.memory_mb:.0f} MB of memory"
    if CONTROL & set(outcome.said):
        yield f"control bytes on the terminal: {sorted(CONTROL & set(outcome.said))}"
    outside = [path for path in folder.parent.iterdir() if path != folder]
    if outside:
        yield f"wrote outside its folder: {outside[0].name}"
