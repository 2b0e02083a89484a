"""``python -m tests.faults.search``, or quicker ``pypy3 -m tests.faults.search``, from the project's top."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from . import bounds, core, hunt, report
from .genes import parse
from .play import NotPlayedError, Play

RESULTS = Path("search.jsonl")


def main(words: list[str]) -> int:
    """The command."""
    parser = argparse.ArgumentParser("python -m tests.faults.search", description=__doc__)
    parser.add_argument("--firmware", type=Path, help="folder that holds bainboard (default: this project's)")
    commands = parser.add_subparsers(dest="command", required=True)
    run = commands.add_parser("run", help="search; what the file of results already has is not played again")
    run.add_argument("--rounds", type=int, default=6)
    run.add_argument("--only", default="", help="names with this in them, as pan/ or water_slips")
    healthy = commands.add_parser("healthy", help="evenings with nothing wrong")
    healthy.add_argument("--hours", type=float, default=2000.0)
    bound = commands.add_parser("bounds", help="settings and profile at every bound, alone and in pairs")
    for each in (run, healthy, bound):
        each.add_argument("--out", type=Path, default=RESULTS)
        each.add_argument("--minutes", type=float, default=1e6, help="stop after this long")
        each.add_argument("--part", type=_part, default=(1, 1), help="as 2/3: the second of three runs side by side")
        each.add_argument("--quiet", action="store_true", help="only the count")
    again = commands.add_parser("replay", help="play one line again")
    again.add_argument("line")
    again.add_argument("--every", type=int, default=0, help="print the case each so many seconds")
    tables = commands.add_parser("report", help="tables of a file of results")
    tables.add_argument("results", type=Path, nargs="*", default=[RESULTS])
    args = parser.parse_args(words)
    try:
        return COMMANDS[args.command](args)
    except (ValueError, NotPlayedError) as error:
        print(error, file=sys.stderr)
        return 2


def _part(text: str) -> tuple[int, int]:
    number, _, of = text.partition("/")
    if not (number.isdecimal() and of.isdecimal() and 0 < int(number) <= int(of)):
        raise argparse.ArgumentTypeError(f"got {text!r}, wanted a part as 2/3")
    return int(number), int(of)


def _run(args: argparse.Namespace) -> int:
    core.use(args.firmware)
    known, until = hunt.load(args.out, hunt.firmware_hash()), hunt.clock(args.minutes)
    before = len(known)
    if args.command == "run":
        number, of = args.part
        rows = hunt.search(args.rounds, hunt.names(args.only)[number - 1 :: of], known, until)
    elif args.command == "bounds":
        rows = hunt.each(list(bounds.lines())[args.part[0] - 1 :: args.part[1]], known, until)
    else:
        rows = hunt.healthy(args.hours / args.part[1], args.part, known, until)
    over = 0
    for row in hunt.keep(args.out, rows):
        bad = row.get("score_k", 1.0) > 0.0 and "refused" not in row
        over += bad
        if bad and not args.quiet:
            print(row["line"], " ".join(f"{row[name]:.1f}" for name in ("worst_c", "over_k", "score_k")
                                        if name in row), row.get("raised", row.get("fault", "")), flush=True)
    print(f"{len(known) - before} cases played, {before} were there; {over} over what is promised")
    return 0


def _replay(args: argparse.Namespace) -> int:
    core.use(args.firmware)
    played = bounds.BoundsPlay(bounds.read(args.line)) if args.line.startswith("set:") else Play(parse(args.line))
    if args.every:
        print("t_s water reads bowl limit state duty guard fault warn")
        played.watch = lambda play: None if play.t_s % args.every else print(_now(play))
    result = played.run()
    for name, value in vars(result).items():
        print(f"{name}: {value:.2f}" if isinstance(value, float) else f"{name}: {value}")
    return 1 if result.score_k > 0.0 else 0


def _now(play: Play) -> str:
    w = play.warmer
    reads_c = float("nan") if w.inputs.water_c is None else w.inputs.water_c
    return (f"{play.t_s:.0f} {play.rig.plant.warmest_c:.2f} {reads_c:.2f} {play.rig.plant.bowl.mean_c:.2f} "
            f"{w.inputs.stage_limit_c:.1f} {w.state} {w.duty:.2f} {w.guard} {w.fault} {w.warn:b}")


def _report(args: argparse.Namespace) -> int:
    rows = [row for path in args.results for row in hunt.load(path, None).values()]
    if not rows:
        raise ValueError("no results yet; wanted files that `run` or `healthy` wrote")
    print(report.page(rows))
    return 0


COMMANDS = {"run": _run, "healthy": _run, "bounds": _run, "replay": _replay, "report": _report}

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
