"""What an install changes, worked out from what is on the board: every case a board can be left in."""

from __future__ import annotations

import hashlib
import json
import re
import zlib
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from bainboard import saved_profiles, store
from bainwright.core.errors import RefusedError
from bainwright.files.firmware import BACK, GOOD, MAIN, NEW, NONE, RECORD, TRIED, Firmware, Record, sources
from bainwright.install import install_plan
from bainwright.install.install_plan import Seen, make_plan, plan_back

MAIN_PY = install_plan.OURS.encode() + b" and so on"
A, B, C = (Firmware(MAIN_PY, {"bainboard/a.mpy": b"same", "bainboard/b.mpy": name}) for name in (b"A", b"B", b"C"))
BLOCK = 4096


def seen(*versions: Firmware, record: Record | None = None, more: dict[str, bytes] | None = None, **about: Any) -> Seen:
    """A board with these versions whole, and other files."""
    files = {f"{each.folder}/{path}": content for each in versions for path, content in each.files.items()}
    files |= {MAIN: MAIN_PY} if versions else {}
    files |= {RECORD: record.line().encode()} if record else {}
    files |= more or {}
    told = {"block": BLOCK, "free": 100 * BLOCK, "root": ["main.py", "fw"], **about}
    told["record"] = record.line() if record else ""
    return Seen(told, {path: (len(content), hashlib.sha256(content).hexdigest()) for path, content in files.items()})


def good(current: Firmware, before: Firmware | None = None, state: str = GOOD) -> Record:
    return Record(current.version, before.version if before else NONE, state)


def test_a_bare_board_needs_everything_and_has_nothing_to_go_back_to() -> None:
    plan = make_plan(seen(), A)
    assert {piece.path for piece in plan.sent} == {MAIN, f"{A.folder}/bainboard/a.mpy", f"{A.folder}/bainboard/b.mpy"}
    assert plan.record == (A.version, NONE, NEW)


def test_what_another_version_has_is_copied_there_and_not_sent() -> None:
    plan = make_plan(seen(A, record=good(A)), B)
    assert [piece.path for piece in plan.sent] == [f"{B.folder}/bainboard/b.mpy"]
    assert [piece.source for piece in plan.pieces] == [f"{A.folder}/bainboard/a.mpy", None]
    assert plan.record == (B.version, A.version, NEW)


def test_what_came_before_an_install_broke_off_is_not_sent_again() -> None:
    staged = f"/fw/new/fw.{B.version}.bainboard.b.mpy"
    plan = make_plan(seen(A, record=good(A), more={staged: b"B"}), B)
    assert plan.sent == []
    assert staged in [piece.source for piece in plan.pieces]


def test_half_of_a_file_that_came_is_sent_again() -> None:
    plan = make_plan(seen(A, record=good(A), more={f"/fw/new/fw.{B.version}.bainboard.b.mpy": b""}), B)
    assert len(plan.sent) == 1


def test_the_version_that_is_there_needs_nothing() -> None:
    assert make_plan(seen(A, B, record=good(A, B)), A).nothing
    assert make_plan(seen(A, B, record=good(A, B, BACK)), A).nothing


def test_a_version_still_on_its_trial_is_tried_again_with_the_proved_one_to_go_back_to() -> None:
    for state in (NEW, TRIED):
        plan = make_plan(seen(A, B, record=good(A, B, state)), A)
        assert (plan.pieces, plan.record) == ([], (A.version, B.version, NEW))
        assert make_plan(seen(A, B, record=good(A, B, state)), C).record == (C.version, B.version, NEW)


def test_nobody_goes_back_to_a_version_that_failed_or_is_not_whole() -> None:
    assert make_plan(seen(A, B, record=good(A, B, BACK)), C).record == (C.version, A.version, NEW)
    torn = seen(A, B, record=good(A, B), more={f"{A.folder}/bainboard/b.mpy": b"?"})
    assert make_plan(torn, C).record == (C.version, B.version, NEW)
    with pytest.raises(RefusedError, match="failed its first start"):
        plan_back(seen(A, B, record=good(A, B, BACK)))
    with pytest.raises(RefusedError, match="is not whole"):
        plan_back(seen(A, B, record=good(A, B), more={f"{B.folder}/bainboard/b.mpy": b"?"}))
    with pytest.raises(RefusedError, match="no version before"):
        plan_back(seen(A, record=good(A)))


def test_a_file_too_many_is_taken_out_since_the_board_would_load_it() -> None:
    stray = f"{A.folder}/bainboard/x.mpy"
    plan = make_plan(seen(A, record=good(A), more={stray: b"x"}), A)
    assert (plan.strays, plan.record) == ([stray], (A.version, NONE, NEW))


def test_versions_nobody_needs_go_and_the_one_that_runs_stays_until_the_switch() -> None:
    plan = make_plan(seen(A, B, C, record=good(A, B)), C)
    assert {A.version, B.version, C.version} <= set(plan.keep)  # A may yet be started
    assert set(plan.left) == {C.version, A.version, "boot"}
    assert B.version not in make_plan(seen(A, B, C, record=good(A)), C).keep


def test_going_back_swaps_the_two() -> None:
    assert plan_back(seen(A, B, record=good(A, B))).record == (B.version, A.version, GOOD)


def test_another_main_py_alone_is_sent_without_a_trial() -> None:
    plan = make_plan(seen(A, record=good(A), more={MAIN: b"older"}), A)
    assert [piece.path for piece in plan.sent] == [MAIN]
    assert plan.record is None


def test_room_is_counted_in_blocks_and_what_will_go_counts_as_free() -> None:
    with pytest.raises(RefusedError, match=r"full: got 12 KB free, wanted 48 KB"):
        make_plan(seen(free=3 * BLOCK), A)
    make_plan(seen(free=12 * BLOCK), A)
    make_plan(seen(B, C, record=good(B), free=10 * BLOCK), A)  # C's two files make the room
    with pytest.raises(RefusedError, match=r"beside the firmware there is: film\.bin"):
        make_plan(seen(free=0, root=["film.bin"]), A)


def test_what_is_ours_is_not_called_foreign() -> None:
    # What the firmware writes into the root: the slots of bainboard.store, its log and its last error.
    app = sources()[1]["bainboard/app.py"].decode()
    written = re.findall(r'^(?:LOG_FOLDER|CRASH_FILE) = "/(.*?)"', app, re.MULTILINE)
    assert len(written) == 2
    places = [f"kept{place + 1}" for place in range(saved_profiles.MOST)]
    names = [name for name in store.KINDS if name != "kept"] + places
    ours = [f"{name}.{slot}" for name in names for slot in "ab"] + written
    assert seen(root=["main.py", "fw", *ours]).foreign == []
    assert seen(root=["notes.txt", *ours]).foreign == ["notes.txt"]


def test_main_py_is_known_by_how_it_begins() -> None:
    assert sources()[0].decode().startswith(install_plan.OURS)


@pytest.mark.parametrize(("blocks", "free"), [(0, 0), (2**32 - 12, 0), (5, 5)])
def test_a_flash_that_is_more_than_full_has_no_room(blocks, free, capsys):
    """On a full littlefs the count of free blocks was seen as 12 below zero, which wraps round."""
    script = (Path(install_plan.__file__).parent / "board_scripts/look.py").read_text()
    asked = script[script.index("def tell_all") : script.index('    if "main.py" in root:')]
    there = SimpleNamespace(listdir=lambda path: [], statvfs=lambda path: (BLOCK, BLOCK, 352, blocks))
    names: dict[str, Any] = {"os": there, "json": json}
    exec(asked, names)
    names["tell_all"]()
    assert json.loads(capsys.readouterr().out)["free"] == free * BLOCK


@pytest.mark.parametrize("inflates", [True, False])
def test_the_bundles_give_every_piece_back(inflates: bool) -> None:
    """A piece that is larger than a part comes alone; none is cut in two."""
    more = {"bainboard/large.py": b"# \n" * install_plan.PART_BYTES, "bainboard/more.py": b"# more\n" * 4000}
    plan = make_plan(seen(A, inflates=inflates, free=1 << 20), replace(B, files={**B.files, **more}))
    bundles = plan.bundles()
    assert len(bundles) > 2
    found = {}
    for bundle in bundles:
        assert (bundle[0] & 15 == 8) == inflates  # RFC 1950: 8 is deflate
        plain = zlib.decompress(bundle) if inflates else bundle
        while plain:
            line, _, plain = plain.partition(b"\n")
            name, size = line.split()
            found[name.decode()], plain = plain[: int(size)], plain[int(size) :]
    assert found == {piece.staged: piece.content for piece in plan.sent}
