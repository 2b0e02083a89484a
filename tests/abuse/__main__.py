"""Abuse at full size: `python -m tests.abuse [PART...]`; an hour and a half on one core. Exit status 1 for a find."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

from . import disks, messages, parts, power

# What messages may change of a hold; the README says why it is not nothing.
MOST_LATE_MS = 50  # app.JITTER_MS: a tick that is later by less counts as whole, and its duty is the same
MOST_MINUTE = 100  # 1/10000 of full heat, of a minute's mean duty; chosen
LIARS, FILES, AT_REST, IN_HOLD, HOLDS, CUTS, DISKS = 300, 2000, 100_000, 30_000, 10, 500, 300


def _files() -> tuple[str, list[str]]:
    tally = parts.damaged_files(range(FILES))
    return tally.words(), tally.wrong


def _liars() -> tuple[str, list[str]]:
    tally = parts.lying_boards(range(LIARS))
    return tally.words(), tally.wrong


def _disks() -> tuple[str, list[str]]:
    if not disks.can_mount():
        return "not run: only the system's administrator can make small disks", []
    tally = disks.small_disks(range(DISKS))
    return tally.words(), tally.wrong


def _orders() -> tuple[str, list[str]]:
    from . import orders  # hypothesis and the boards of the other tests

    return orders.play(), []


def _rest() -> tuple[str, list[str]]:
    result = messages.at_rest(AT_REST, 1)
    wrong = [f"restart: {each}" for each in result.resets] + [f"state {each}" for each in result.states - {"idle"}]
    return f"{result.sent} messages at rest, {result.answered} answers, {len(result.resets)} restarts", wrong


def _holds() -> tuple[str, list[str]]:
    wrong, sent, found = [], 0, []
    for number in range(HOLDS):
        fitted = number >= HOLDS - 2  # panel and display share the heap
        quiet, fuzzed = (messages.in_hold(count, number, fitted=fitted) for count in (0, IN_HOLD))
        apart = messages.apart(quiet, fuzzed)
        sent, found = sent + fuzzed.sent, [*found, apart]
        if not (apart.minute <= MOST_MINUTE and fuzzed.late_ms <= MOST_LATE_MS):
            wrong.append(f"hold {number}: {apart}, a tick {fuzzed.late_ms} ms late")
        wrong += [f"hold {number}: restart: {each}" for each in fuzzed.resets]
        wrong += [f"hold {number}: state {each}" for each in fuzzed.states - quiet.states]
        wrong += [] if fuzzed.sent == IN_HOLD else [f"hold {number}: {fuzzed.sent} sent"]
    second, minute = max(each.second for each in found) / 100, max(each.minute for each in found) / 100
    return (f"{sent} messages in {HOLDS} holds; duty differs in {sum(each.differ for each in found)} of "
            f"{sum(each.seconds for each in found)} seconds, by at most {second:.1f} % in a second and {minute:.2f} % "
            f"over a minute"), wrong  # fmt: skip


def _cuts() -> tuple[str, list[str]]:
    free, latched = power.cuts(CUTS // 2, 0, latched=False), power.cuts(CUTS // 2, 10_000, latched=True)
    return (f"{free.power_cuts} power cuts in {free.cases} rounds, {latched.power_cuts} in {latched.cases} under a "
            f"latch"), free.wrong + latched.wrong  # fmt: skip


PARTS: dict[str, Callable[[], tuple[str, list[str]]]] = {
    "files": _files, "liars": _liars, "disks": _disks, "orders": _orders, "rest": _rest, "holds": _holds, "cuts": _cuts,
}  # fmt: skip


def main(names: list[str]) -> int:
    """Run the parts named, or all."""
    if {"-h", "--help"} & set(names):
        print(f"{__doc__}\nParts: {', '.join(PARTS)}.")
        return 0
    unknown = [name for name in names if name not in PARTS]
    if unknown:
        print(f"no part {unknown[0]!r}; there are {', '.join(PARTS)}", file=sys.stderr)
        return 2
    parts.warm_up()
    found = 0
    for name in names or PARTS:
        began_s = time.monotonic()
        words, wrong = PARTS[name]()
        print(f"{name}: {words}; {time.monotonic() - began_s:.0f} s", flush=True)
        for each in wrong:
            print(f"  {each}", flush=True)
        found += len(wrong)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
