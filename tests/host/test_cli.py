"""`bain` as it is typed: options that fit and that do not, words and exit statuses, no traceback."""

import contextlib
import errno
import json
import runpy
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path

import pytest
from fake_board import FakeBoard, FakeSession, event_line, status_line

from bainwright import cli
from bainwright.core.errors import FileError, LinkError, PlantError, RefusedError, UseError
from bainwright.evening.options import HoldRequest, resolve, seconds_until
from bainwright.virtual import opening


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """A folder of its own."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(("hour", "hours"), [(22, 8.5), (6, 0.5), (7, 23.5)])
def test_the_hour_of_waking_is_the_next_one(hour, hours):
    """From ten at night, and from half an hour before and after half past six."""
    assert seconds_until(6 * 60 + 30, datetime(2026, 3, 1, hour, 0)) == 3600 * hours


def test_running_the_package_gives_the_commands_exit_status(monkeypatch):
    monkeypatch.setattr(sys, "argv", ["bain", "plan", "dark", "--total", "nothing"])
    with pytest.raises(SystemExit) as ended:
        runpy.run_module("bainwright", run_name="__main__")
    assert ended.value.code == 2


def test_the_night_in_which_the_clocks_change_has_an_hour_more_or_less(monkeypatch):
    """Berlin in 2026: back on 25 October at 3:00 to 2:00, on 29 March at 2:00 to 3:00 (EU directive 2000/84/EC)."""
    if not hasattr(time, "tzset"):
        pytest.skip("this system's zone cannot be set")
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    try:
        assert seconds_until(6 * 60 + 30, datetime(2026, 10, 24, 22, 0)) == 3600 * 9.5
        assert seconds_until(6 * 60 + 30, datetime(2026, 3, 28, 22, 0)) == 3600 * 7.5
        assert seconds_until(2 * 60 + 10, datetime(2026, 10, 25, 2, 30)) == 60 * 40  # its second ten past two
    finally:
        monkeypatch.undo()
        time.tzset()


@pytest.mark.parametrize("arguments", [
    ["hold", "dark", "--virtual", "--for", "9" * 5000], ["page", "--page-at", "127.0.0.1:" + "9" * 5000],
    ["holds", "--since", "0001-01-01"], ["rig", "new", "x.toml", "--pin", "yes=" + "9" * 5000],
])
def test_figures_that_no_one_types_are_refused_in_words(arguments, capsys):
    code, _, err = bain(capsys, *arguments)
    assert code == 2
    assert err.startswith("bain: --")


def bain(capsys, *arguments):
    """Run a command: exit status, stdout, stderr."""
    code = cli.main(list(arguments))
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    return code, out, err


def scripted(monkeypatch, script, **hello):
    """Every hold meets this board."""
    session = FakeSession(FakeBoard(lambda: iter(script), **hello))
    monkeypatch.setattr(opening, "open_board", lambda port, simulated: contextlib.closing(session))
    return session


GOOD = [*[status_line(n, 1000 * n) for n in range(1, 61)], event_line("ended", 1, 0, why="done")]
FIXED_KEYS = {
    "log",
    "duration_s",
    "warm_up_s",
    "in_window_fraction",
    "bowl_rms_error_c",
    "bowl_peak_c",
    "water_peak_c",
    "exposure_k_min",
    "trips",
    "lost_lines",
    "speed",
}


# -- results ---------------------------------------------------------------------------------------------------------


def test_json_is_alone_on_stdout_and_has_the_fixed_keys(capsys, monkeypatch):
    """The design's list; progress and hints go to stderr."""
    scripted(monkeypatch, GOOD)
    code, out, err = bain(capsys, "hold", "dark", "--for", "60s", "--json")
    result = json.loads(out)
    assert code == 0
    assert result.keys() >= FIXED_KEYS | {"scored_from"}
    assert Path(result["log"]).name == "hold.csv"
    assert "looking for the warmer" in err


def test_words_are_on_stdout_without_json(capsys, monkeypatch):
    """One sentence that says it all, and where the files are."""
    scripted(monkeypatch, GOOD)
    code, out, _ = bain(capsys, "hold", "dark", "--for", "60s")
    assert code == 0
    assert out.startswith("Held dark for 60 s: in its window 100 % of the time")
    assert "Scored from the readings. Log and picture: holds/dark-1" in out


def test_the_session_is_closed_whatever_happens(capsys, monkeypatch):
    """Also when the board refuses."""
    session = scripted(monkeypatch, GOOD, state="hold")
    assert bain(capsys, "hold", "dark")[0] == 1
    assert session.acts[-1] == "close"


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (UseError("x"), 2),
        (FileError("x"), 2),
        (PlantError("x"), 2),
        (LinkError("x"), 3),
        (RefusedError("x"), 1),
        (KeyboardInterrupt(), 1),
        (OSError(errno.ENOSPC, "No space left on device"), 1),
        (PermissionError(errno.EACCES, "Permission denied", "holds"), 2),
        (ImportError("libx.so: failed to map segment from shared object"), 1),
        (MemoryError(), 1),
    ],
)
def test_every_error_is_words_and_its_exit_status(capsys, monkeypatch, error, code):
    """0 done, 1 not as it should be, 2 wrong use, 3 no board."""

    def fail(port, simulated):
        raise error

    monkeypatch.setattr(opening, "open_board", fail)
    got, out, err = bain(capsys, "hold", "dark", "--port", "/dev/ttyX")
    assert got == code
    assert out == ""
    assert err.lstrip().startswith("bain: ")


def test_a_missing_port_is_exit_status_3(capsys):
    """No board there."""
    code, _, err = bain(capsys, "hold", "dark", "--port", "/dev/ttyNOWHERE")
    assert code == 3
    assert "there is no port /dev/ttyNOWHERE" in err


# -- wrong use -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("hold", "which chocolate?"),
        ("hold darc --virtual", "did you mean dark?"),
        ("hold dark --virtual pott", "did you mean pot?"),
        ("hold dark --virtual --port /dev/ttyACM0", "leave one of them out"),
        ("hold dark --plant p.py:P --port /dev/ttyACM0", "leave one of them out"),
        ("hold dark --virtual mat --rig pot", "both name a warmer"),
        ("hold melted --until 06:30 --for 9h", "both say how long"),
        ("hold melted --virtual --until 06:30", "a virtual board has none"),
        ("hold melted --until 25:30", "wanted a time of day"),
        ("hold dark --virtual --for 90", "did you mean 90m"),
        ("hold dark --virtual --for soon", "3h40m"),
        ("hold dark --virtual --room 68", "looks like °F"),
        ("hold dark --virtual --speed slow", "--speed"),
        ("hold dark --virtual --speed 0", "--speed"),
        ("hold dark --virtual --from oven", "wanted one of melt, seed, cool, settle, test, work, rest, melted"),
        ("hold melted --virtual --from seed", "name the kind of chocolate"),
        ("hold dark --virtual --from seed --method cool", "two ways to a temper"),
        ("hold dark --virtual --from cool --method seed", "two ways to a temper"),
        ("hold dark --virtual --scenario nowhere.toml", "no scenario 'nowhere.toml'"),
        ("hold dark --virtual --vessel bucket", "has no vessel 'bucket'"),
        ("hold dark --virtual --gains nowhere.toml", "nowhere.toml"),
        ("hold dark --virtual --join", "--join"),
        ("hold dark --virtual --seed -1", "-1"),
        ("hold dark --port /dev/ttyX --scenario orange_sticks", "--scenario is for a virtual board"),
        ("hold dark --port /dev/ttyX --speed 5", "--speed is for a virtual board"),
        ("hold dark --port /dev/ttyX --seed 5", "--seed is for a virtual board"),
        ("hold dark --plant p.py:P --scenario orange_sticks", "not on a --plant"),
        ("hold dark --nonsense", "--nonsense"),
        ("bake dark", "bake"),
    ],
)
def test_wrong_use_is_exit_status_2_and_says_what_would_do(capsys, typed, wanted):
    """Before anything is opened or written."""
    code, out, err = bain(capsys, *typed.split())
    assert code == 2
    assert wanted in err
    assert out == ""
    assert not Path("holds").exists()


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("", "is empty"),
        ("[water]\nkpp = 1", "did you mean water.kp"),
        ("[water]\nkp = 99", "gains.water.kp: got 99"),
        ("heater_w = 9", "there is no gain heater_w"),
        ("[water", "not TOML"),
        ("[water]\nkp = nan", "gains.water.kp"),
    ],
)
def test_a_gains_file_is_checked_whole(capsys, text, wanted):
    """By the firmware's own table."""
    Path("g.toml").write_text(text)
    code, _, err = bain(capsys, "hold", "dark", "--virtual", "--gains", "g.toml")
    assert code == 2
    assert wanted in err


# -- what is taken for granted ---------------------------------------------------------------------------------------


def test_virtual_alone_is_the_pot_and_the_demonstration():
    """The design: --virtual alone is the rig pot; its evening lasts 3 h 40 min."""
    choice = resolve(HoldRequest("dark", virtual="pot"))
    assert choice.rig.source == "pot"
    assert choice.simulated.scenario.source == "orange_sticks"
    assert choice.for_s == 13_200
    assert choice.simulated.speed is None
    assert any("orange" in text.lower() for text in choice.assumed)


@pytest.mark.parametrize(
    "asked",
    [HoldRequest("dark", virtual="mat"), HoldRequest("melted", virtual="pot"), HoldRequest("dark", plant="p.py:P")],
)
def test_elsewhere_nothing_happens_for_four_hours_and_that_is_said(asked):
    """No events, and the assumption in words."""
    choice = resolve(asked)
    assert choice.simulated.scenario is None
    assert choice.for_s == 4 * 3600
    assert "an evening without events" in choice.assumed[0]
    assert "holding for 4 h" in choice.assumed[1]


def test_a_plant_implies_virtual():
    """No --virtual needed; the board's settings are the pot's."""
    choice = resolve(HoldRequest("milk", plant="p.py:P", for_="2h"))
    assert (choice.simulated.plant, choice.rig.source, choice.for_s) == ("p.py:P", "pot", 7200)


def test_a_chocolate_typed_after_virtual_is_understood():
    """`hold --virtual dark`: no rig is called dark."""
    choice = resolve(HoldRequest(None, virtual="dark"))
    assert (choice.profile.name, choice.rig.source) == ("dark", "pot")


def test_melted_stock_begins_at_its_own_step():
    """No --from needed, and --from melted fits it."""
    assert resolve(HoldRequest("melted", virtual="pot")).stage == "melted"
    assert resolve(HoldRequest("melted", virtual="pot", from_stage="melted")).stage == "melted"
    assert resolve(HoldRequest("dark", virtual="pot", from_stage="work")).stage == "work"


@pytest.mark.parametrize(("stage", "scenario"), [
    (None, None), ("melt", None), ("melt", "by_hand"), ("work", "by_hand"),
])
@pytest.mark.parametrize("rig", ["mat", "pot"])
def test_a_room_that_is_given_is_also_the_simulated_one(rig, stage, scenario):
    request = HoldRequest("dark", virtual=rig, from_stage=stage, scenario=scenario, room="16")
    assert resolve(request).simulated.scenario.start.room_c == 16


def test_a_scenario_with_a_room_of_its_own_is_a_kitchen_that_is_not_as_it_was_told(tmp_path):
    path = tmp_path / "warm.toml"
    path.write_text("[start]\nroom_c = 28.0\n")
    setup = resolve(HoldRequest("dark", virtual="mat", scenario=str(path), room="16"))
    assert setup.simulated.scenario.start.room_c == 28
    assert "the scenario's room is at 28 °C, and the warmer is told 16 °C" in setup.assumed


# -- the process -----------------------------------------------------------------------------------------------------


def run(*arguments, **options):
    """`bain` as a process of its own."""
    environment = {"PYTHONPATH": ":".join(sys.path), "PATH": "/usr/bin:/bin"}
    return subprocess.run(
        [sys.executable, "-m", "bainwright.cli", *arguments],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
        **options,
    )


@pytest.mark.parametrize("typed", [["hold", "dark", "--virtual", "--room", ""], ["plan", "dark", "--total="],
                                   ["hold", "dark", "--virtual", "--out", "", "--for", "1m"]])
def test_an_option_without_its_value_is_refused_not_left_out(capsys, typed):
    """A shell's variable that is not set, say: `--out "$FOLDER"`."""
    code, _, err = bain(capsys, *typed)
    assert code == 2
    assert "got an empty value; leave the option out" in err


def test_help_imports_nothing_heavy():
    """So that it is there at once: neither arrays nor pictures nor ports."""
    heavy = ("numpy", "matplotlib", "serial", "rich", "duckdb", "msgspec")
    code = (
        "import sys; from bainwright.cli import main; main(['hold', '--help']); "
        f"print([name for name in {heavy} if name in sys.modules])"
    )
    environment = {"PYTHONPATH": ":".join(sys.path)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_ctrl_c_while_the_program_still_loads_is_no_traceback():
    """That takes a second on a busy PC; the first library of others stands for it."""
    code = (
        "import sys\n"
        "class Pressed:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'click': raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Pressed())\n"
        "from bainwright.cli import main\n"
        "sys.exit(main(['holds']))"
    )
    environment = {"PYTHONPATH": ":".join(sys.path)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (1, "", "bain: stopped\n")


def test_a_reader_that_leaves_early_is_no_error():
    """`bain --help | true`: no complaint about a broken pipe."""
    process = subprocess.Popen(
        [sys.executable, "-m", "bainwright.cli", "--version"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={"PYTHONPATH": ":".join(sys.path)},
    )
    process.stdout.close()
    assert process.stderr.read() == b""
    process.wait()


def test_every_fixed_option_of_hold_is_there():
    """The design's line, letter for letter."""
    text = run("hold", "--help").stdout
    fixed = "virtual port rig plant from for room speed scenario seed gains out json"
    for option in fixed.split():
        assert f"  --{option}" in text


@pytest.mark.parametrize("zone", ["<+99>-99", "ABC24", "ABC1DEF-25"])
def test_a_time_zone_that_cannot_be_hides_nothing(zone, monkeypatch, capsys):
    """POSIX lets a zone be 24 h off, and the C library more; Python's dates do not."""
    if not hasattr(time, "tzset"):
        pytest.skip("this system's zone cannot be set")
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        assert cli.main(["holds"]) == 0
    finally:
        monkeypatch.undo()
        time.tzset()
    assert "times are shown in UTC" in capsys.readouterr().err
