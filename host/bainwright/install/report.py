"""The output of `bain install` and `bain ports`."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import Any

from bainboard import VERSION, faults
from bainwright.core.errors import LinkError
from bainwright.core.json_text import json_text
from bainwright.core.progress import Progress as Bar
from bainwright.files.firmware import BACK, FOLDER, NONE
from bainwright.install import install_plan
from bainwright.install.install_plan import Plan, Seen
from bainwright.install.installer import InstallAsked, Installed, Progress, install_on
from bainwright.link import finding, ports
from bainwright.words import terms
from bainwright.words.advice import at_rest

Say = Callable[..., None]
SHOWN_FILES = 8  # chosen: a few show what kind of change it is; --json lists all


class Sending(Progress):
    """Shows how many bytes were sent."""

    def __init__(self) -> None:
        self._bar: Bar | None = None
        self._gone = 0

    def begin(self, total_bytes: int) -> None:
        """A transfer of this many bytes begins."""
        self._bar = Bar("sending", total_bytes)
        self._bar.to(0)

    def sent(self, count: int) -> None:
        """This many more bytes were sent."""
        self._gone += count
        if self._bar is not None:
            self._bar.to(self._gone)

    def close(self) -> None:
        """Remove the bar."""
        if self._bar is not None:
            self._bar.close()


def install_and_report(asked: InstallAsked, *, as_json: bool, say: Say) -> int:
    """Do what was asked and report it; returns the exit status."""
    with contextlib.closing(Sending()) as sending:
        done = install_on(asked, lambda: sending)
    for note in done.notes:
        say(f"bain: {note}", err=True)
    if as_json:
        say(json_text(as_dict(done)))
    else:
        for line in report_lines(done):
            say(("VIRTUAL: " if ports.is_pseudo_terminal(done.port) else "") + line)
    return exit_code(done)


def exit_code(done: Installed) -> int:
    """1 when a check found a difference, or the board could not store that the version works."""
    if not done.asked.check:
        return 1 if (done.now or {}).get("kept") is False else 0
    return 0 if done.plan is not None and done.plan.nothing else 1


# -- in words ----------------------------------------------------------------------------------------------------------


def report_lines(done: Installed) -> list[str]:
    """The result, a line each."""
    if done.seen is None or done.plan is None:
        return [f"{done.port}: {_board(done)}, firmware {(done.hello or {}).get('version', 'unknown')}"]
    if done.asked.check:
        lines = _check_lines(done, done.seen, done.plan)
    elif done.asked.dry_run:
        lines = _dry_run_lines(done, done.plan)
    else:
        lines = _done_lines(done, done.plan)
    if done.seen.foreign:
        lines.append("Not ours and left alone: " + ", ".join(done.seen.foreign))
    return lines


def _board(done: Installed) -> str:
    hello = done.now or done.hello
    danger = at_rest(hello)
    state = f"{(hello or {}).get('state')}{f' ({danger})' if danger else ''}"
    return f"the warmer {hello.get('name')!r}, {state}" if hello else "no warmer's firmware runs on it"


def wanted_version(done: Installed) -> str:
    """The version of this program's firmware as a board would report it."""
    return f"{VERSION}+{done.wanted.version}" if done.wanted else VERSION


def _check_lines(done: Installed, seen: Seen, plan: Plan) -> list[str]:
    about, record = seen.about, seen.record
    python = ".".join(map(str, about["python"]))
    lines = [
        f"{done.port}: {_board(done)}",
        f"MicroPython {python} on {about['machine']}; {about['free'] // 1024} KB of flash free",
        f"Firmware there: {record.current if record else 'none'}, this program's: {wanted_version(done)}",
    ]
    if record and record.before != NONE:
        failed = ", which failed its first start" if record.state == BACK else ""
        lines.append(f"The version before: {record.before}{failed}")
    wrong = install_plan.damage(seen)
    if wrong:
        lines.append("Damaged: " + "; ".join(wrong))
    if plan.nothing:
        lines.append("Every file is as it should be.")
    elif plan.pieces:
        lines.append(f"It differs{_files(plan)}. bain install puts that right.")
    else:
        lines.append("Every file is as it should be, but this version has not started well yet, or is not the one that "
                     "starts. bain install puts that right.")  # fmt: skip
    return lines


def _files(plan: Plan) -> str:
    names = [piece.path.removeprefix(f"{FOLDER}/").lstrip("/") for piece in plan.pieces]
    shown = ", ".join(names[:SHOWN_FILES]) + (f" and {len(names) - SHOWN_FILES} more" if names[SHOWN_FILES:] else "")
    return f" in {len(names)} files: {shown}" if names else ""


def _dry_run_lines(done: Installed, plan: Plan) -> list[str]:
    if plan.nothing:
        return [f"Nothing would change: {wanted_version(done)} is there, every file as it should be."]
    size = sum(len(piece.content) for piece in plan.sent)
    here = len(plan.pieces) - len(plan.sent)
    lines = [f"Would send {len(plan.sent)} files, {size / 1024:.0f} KB; {here} more are on the board already."]
    if plan.record:
        lines.append(f"Would start {wanted_version(done)}{_fallback(plan)}.")
    return lines


def _fallback(plan: Plan) -> str:
    before = plan.record.before if plan.record else NONE
    return f", and keep {before} to go back to" if before != NONE else ""


def _done_lines(done: Installed, plan: Plan) -> list[str]:
    version = (done.now or {}).get("version")
    if done.asked.back:
        lines = [f"Back to {version}; {plan.record.before if plan.record else NONE} stays on the board."]
    elif plan.nothing:
        lines = [f"Nothing to do: {version} is there and runs, every file as it should be."]
    else:
        size = sum(len(piece.content) for piece in plan.sent)
        lines = [f"{version} runs: {len(plan.sent)} files sent ({size / 1024:.0f} KB), every file checked there."]
        if plan.record and plan.record.before != NONE:
            lines.append(f"The version before, {plan.record.before}, stays there: bain install --back")
    if (done.now or {}).get("state") == "trip":
        why = terms.fault((done.now or {}).get("fault", faults.NONE))
        lines.append(f"The warmer is latched off ({why}): when it is safe, hold its recessed button for 3 s.")
    return lines


# -- for a program -----------------------------------------------------------------------------------------------------


def as_dict(done: Installed) -> dict[str, Any]:
    """The result for JSON; what was not examined is null."""
    seen, plan = done.seen, done.plan
    changed = plan is not None and not plan.nothing and not (done.asked.check or done.asked.dry_run)
    return {
        "virtual": ports.is_pseudo_terminal(done.port),
        "port": done.port,
        "before": (done.hello or {}).get("version"),
        "version": (done.now or done.hello or {}).get("version"),
        "wanted": wanted_version(done) if done.wanted else None,
        "state": (done.now or done.hello or {}).get("state"),
        "changed": changed,
        "same": plan.nothing if plan is not None and not done.asked.back else None,
        "files": [_file(piece) for piece in plan.pieces] if plan else None,
        "sent_bytes": sum(len(piece.content) for piece in plan.sent) if plan else None,
        "to_go_back_to": _before(done),
        "damage": install_plan.damage(seen) if seen else None,
        "left_alone": seen.foreign if seen else None,
        "free_bytes": seen.about["free"] if seen else None,
        "micropython": ".".join(map(str, seen.about["python"])) if seen else None,
        "machine": seen.about["machine"] if seen else None,
        "notes": done.notes,
    }


def _file(piece: install_plan.Piece) -> dict[str, Any]:
    return {"path": piece.path, "bytes": len(piece.content), "sent": piece.source is None}


def _before(done: Installed) -> str | None:
    record = done.plan.record if done.plan and done.plan.record else done.seen.record if done.seen else None
    return record.before if record and record.before != NONE and record.state != BACK else None


# -- ports -------------------------------------------------------------------------------------------------------------


def ports_and_report(*, as_json: bool, say: Say) -> int:
    """Every port a board may be on and who answers there; the exit status.

    Raises
    ------
    LinkError
        If none is plugged in.
    """
    found = finding.survey()
    if as_json:
        listed = [{"port": each.path, "what": each.what, "hello": each.hello, "why": each.why} for each in found]
        say(json_text(listed))
    elif not found:
        raise LinkError("no board is plugged in", hint=finding.NONE_THERE)
    for each in [] if as_json else found:
        version = (each.hello or {}).get("version")
        say(f"{each}, firmware {version}" if version else str(each))
    return 0 if found else LinkError.exit_code
