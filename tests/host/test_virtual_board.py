"""The virtual board's clock, console, resets and power, seen through its port as a host would see them."""

from __future__ import annotations

from pathlib import Path

import pytest
import serial
from board_tools import line, lines, running, said_until, until
from still_world import still

from bainboard import wire
from bainwright.core.errors import UseError
from bainwright.files.rig import load_rig
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.scenario import Confirm, FaultEvent, Refill, Scenario, Thicker
from bainwright.virtual.scenario_effects import Inject, PowerCut
from bainwright.virtual.truth import read_truth

# -- the clock --------------------------------------------------------------------------------------------------------


def test_time_stops_until_it_is_released_and_the_board_still_answers() -> None:
    main = "while True:\n    line()\n    print(time.ticks_ms())\n"
    with running(main, frozen=True) as (board, port):
        for _ in range(3):
            port.write(b"now\n")
            assert line(port) == "0"
        board.arm()  # zero is the next whole second
        port.write(b"now\n")
        assert line(port) == "1000"


def test_a_sleeping_board_covers_an_evening_at_once_and_to_the_millisecond() -> None:
    main = "line()\nfor _ in range(4):\n    time.sleep(3600)\n    print(time.ticks_ms())\n"
    with running(main, frozen=True) as (board, port):
        board.arm()
        port.write(b"go\n")
        board.run_clock()
        assert [int(got) // 1000 for got in lines(port, 4)] == [3601, 7201, 10801, 14401]


def test_busy_waits_end() -> None:
    main = "t = time.ticks_us()\nwhile time.ticks_diff(time.ticks_us(), t) < 30000: pass\nprint('ended')\n"
    with running(main) as (_, port):
        assert line(port) == "ended"


def test_ticks_wrap_at_two_to_the_thirtieth_ms_and_differences_do_not_see_it() -> None:
    # micropython docs, time.ticks_ms: wraps "at some arbitrary value"; 2**30 on the ports this firmware runs on
    # (mp_hal_ticks_ms masked by MICROPY_PY_TIME_TICKS_PERIOD, small ints of 31 bits).
    main = """
time.sleep_ms(2**30 - 3000)
before = time.ticks_ms()
time.sleep_ms(5000)
after = time.ticks_ms()
print(before > 2**30 - 3500, after < 3500, 5000 <= time.ticks_diff(after, before) <= 5001, time.ticks_add(2**30 - 1, 2))
"""
    with running(main) as (_, port):
        assert line(port) == "True True True 1"


def test_a_held_clock_stops_a_running_board_where_it_is() -> None:
    main = "while True:\n    if poller.poll(1000):\n        line()\n        print('at', time.ticks_ms())\n"
    with running(main) as (board, port):
        with board.clock_held():
            port.write(b"a\n")
            first = line(port)
            port.write(b"b\n")
            assert line(port) == first
        until(lambda: board.report()["now_s"] > int(first.split()[1]) / 1000 + 100.0)
        with board.clock_held():
            port.write(b"c\n")
            assert int(line(port).split()[1]) > int(first.split()[1])


def test_a_paced_clock_is_held_back_and_never_catches_up() -> None:
    main = "while True:\n    time.sleep_ms(100)\n"
    with running(main, speed=50.0) as (board, _):
        until(lambda: board.report()["now_s"] > 10.0)
        report = board.report()
        # It may fall behind on a busy machine; ahead it must not get, but for the slice a call may take.
        assert report["simulated_s"] <= 50.0 * report["wall_s"] + 5.0


# -- the same seed, the same bytes ------------------------------------------------------------------------------------

EVENING = """
import onewire
bus = onewire.OneWire(machine.Pin(16))
roms = bus.scan()
heater, guard, beat = (machine.Pin(n, machine.Pin.OUT, value=0) for n in (15, 14, 13))
line()
print("started")
guard.on()
for n in range(600):
    bus.reset(); bus.writebyte(0xCC); bus.writebyte(0x44)
    heater.on(); beat.toggle()
    poller.poll(300)
    heater.off()
    if poller.poll(700): print("heard", line()[:40], time.ticks_us())
    pads = []
    for rom in roms:
        bus.select_rom(rom); bus.writebyte(0xBE); pad = bytearray(9); bus.readinto(pad)
        pads.append(pad[0] | pad[1] << 8)
    print(n, time.ticks_us(), pads)
print("end")
"""


EVENTS = Scenario(events=(
    Confirm(at_s=10.0), Thicker(at_s=20.000001), FaultEvent(at_s=30.0, name="heater_open", for_s=100.0),
    Refill(at_s=60.0, mass_kg=0.5, temp_c=20.0)))


def evening(seed: int) -> bytes:
    """A stream of real plant readings with requests, a fault and heat in it."""
    with running(EVENING, frozen=True, make_world=None, scenario=EVENTS, seed=seed) as (board, port):
        board.arm()
        port.write(b"go\n")
        assert line(port) == "started"
        board.run_clock()
        return bytes(port.read_until(b"end\r\n"))


def test_the_same_seed_gives_the_same_bytes() -> None:
    first = evening(3)
    assert first.count(b"\n") >= 600
    assert evening(3) == first


def test_another_seed_gives_other_readings() -> None:
    assert evening(3) != evening(4)


# -- what a scenario does ---------------------------------------------------------------------------------------------


def test_an_injected_request_arrives_at_its_exact_second_as_a_whole_line() -> None:
    script = ((5.0, Inject({"do": "announce", "in_s": 300})), (7.25, Inject({"do": "confirm"})))
    main = "while True:\n    poller.poll(100000)\n    t = time.ticks_ms()\n    print(t, line())\n"
    with running(main, make_world=still(script=script)) as (_, port):
        for at_ms, do in ((6000, "announce"), (8250, "confirm")):  # armed at tick 1000
            t, _, text = line(port).partition(" ")
            assert int(t) == at_ms
            message, why = wire.decode(text.encode())
            assert why is None
            assert message["do"] == do


def test_a_power_cut_forgets_pins_and_the_clock_of_the_day_and_leaves_the_files() -> None:
    script = ((10.0, PowerCut(3600.0)),)
    main = """
pin = machine.Pin(15, machine.Pin.OUT)
print(machine.reset_cause() == machine.PWRON_RESET, pin.value(), machine.RTC().datetime()[0], time.ticks_ms() < 100)
try:
    print(open("/kept.txt").read())
except OSError:
    with open("/kept.txt", "w") as file: file.write("kept")
machine.RTC().datetime((2026, 5, 4, 0, 12, 0, 0, 0))
pin.on()
while True: time.sleep(1)
"""
    with running(main, make_world=still(script=script)) as (board, port):
        assert line(port) == "True 0 2021 True"
        assert lines(port, 2) == ["True 0 2021 True", "kept"]
        report = board.report()
        assert report["power_cuts"] == 1
        assert report["resets"] == [{"cause": "power_cut", "t_s": 10.0}]
        assert report["now_s"] >= 3610.0


def test_no_heat_flows_while_the_power_is_cut(tmp_path: Path) -> None:
    script = ((10.5, PowerCut(20.0)),)
    main = """
heater, guard, beat = (machine.Pin(n, machine.Pin.OUT, value=1) for n in (15, 14, 13))
while True:
    beat.toggle()
    poller.poll(1000)
"""
    truth = tmp_path / "truth"
    with running(main, make_world=still(script=script), truth=truth) as (board, _):
        until(lambda: board.report()["now_s"] > 60.0)
    rows = read_truth(truth)
    # Before arming the pins were high already, but plant time and its heat start at zero.
    assert rows["t_ms"][:40].tolist() == [1000.0 * (n + 1) for n in range(40)]
    assert rows["power_w"][0:10] == pytest.approx(150.0)
    assert rows["power_w"][10] == pytest.approx(75.0)  # half a second
    assert rows["power_w"][11:30] == pytest.approx(0.0)
    assert rows["power_w"][31:40] == pytest.approx(150.0)


# -- resets -----------------------------------------------------------------------------------------------------------


def test_a_hard_reset_lowers_every_pin_and_restarts_the_ticks() -> None:
    main = """
pin = machine.Pin(20, machine.Pin.OUT)
print(machine.reset_cause() == machine.WDT_RESET, pin.value(), time.ticks_ms() < 100)
if machine.reset_cause() == machine.WDT_RESET:
    while True: time.sleep(1)
pin.on()
time.sleep(5)  # a second of it before the board is armed, at tick 1000
machine.reset()
print("never")
"""
    with running(main) as (board, port):
        assert line(port) == "False 0 True"
        assert line(port) == "True 0 True"
        assert board.report()["resets"] == [{"cause": "reset", "t_s": pytest.approx(4.0, abs=0.001)}]


def test_a_soft_reset_leaves_pins_as_they_are() -> None:
    main = """
pin = machine.Pin(20, machine.Pin.OUT)
print(pin.value())
if not pin.value():
    pin.on()
    machine.soft_reset()
while True: time.sleep(1)
"""
    with running(main) as (_, port):
        assert lines(port, 3) == ["0", "MPY: soft reboot", "1"]


def test_nothing_the_firmware_does_catches_a_reset() -> None:
    main = """
import sys
if machine.reset_cause() == machine.WDT_RESET:
    print("again")
    while True: time.sleep(1)
try:
    machine.reset()
except BaseException:
    print("caught")
finally:
    print("finally")
"""
    with running(main) as (_, port):
        assert line(port) == "again"


@pytest.mark.parametrize(
    "hang", ["while True: pass", "while True: time.ticks_ms()", "time.sleep(60)", "poller.poll(-1)"])
def test_a_hung_board_is_bitten_by_its_watchdog(hang: str) -> None:
    main = f"""
if machine.reset_cause() == machine.WDT_RESET:
    print("bitten")
    while True: time.sleep(1)
time.sleep(2)
dog = machine.WDT(timeout=4000)
time.sleep(3)
dog.feed()
{hang}
"""
    with running(main) as (board, port):
        assert line(port) == "bitten"
        # 2 s (one of them before arming), 3 s, and 4 s after the last feed.
        assert board.report()["resets"] == [{"cause": "watchdog", "t_s": pytest.approx(8.0, abs=0.001)}]


def test_a_watchdog_of_more_than_8388_ms_is_refused() -> None:
    # The rp2 port's limit (micropython docs, machine.WDT).
    main = "try:\n    machine.WDT(timeout=8389)\nexcept ValueError as error:\n    print(error)\n" \
           "machine.WDT(timeout=8388)\n"
    with running(main) as (_, port):
        assert "8388" in line(port)


def test_the_watchdog_bites_at_the_prompt_too() -> None:
    main = """
if machine.reset_cause() == machine.WDT_RESET:
    print("bitten")
    while True: time.sleep(1)
machine.WDT(timeout=300)
"""
    with running(main) as (_, port):
        said_until(port, ">>> ")
        assert line(port) == "bitten"


# -- buttons ----------------------------------------------------------------------------------------------------------


def test_pressed_buttons_are_seen_for_as_long_as_they_are_held() -> None:
    main = """
import rp2
yes = machine.Pin(10, machine.Pin.IN, machine.Pin.PULL_UP)
no = machine.Pin(11, machine.Pin.IN, machine.Pin.PULL_UP)
edges = []
yes.irq(lambda pin: edges.append(pin.value()))
line()
for _ in range(6):
    time.sleep_ms(100)
    print(1 - yes.value(), 1 - no.value(), rp2.bootsel_button(), edges)
"""
    with running(main, frozen=True) as (board, port):
        board.arm()
        board.press("yes", 250)
        board.press("recessed", 450)
        port.write(b"go\n")
        board.run_clock()
        seen = lines(port, 6)
        assert [got[:5] for got in seen] == ["1 0 1", "1 0 1", "0 0 1", "0 0 1", "0 0 0", "0 0 0"]
        assert seen[-1][6:] == "[0, 1]"


def test_an_unknown_button_or_fault_is_refused_in_words() -> None:
    with running("line()", frozen=True) as (board, _):
        with pytest.raises(UseError, match="recessed"):
            board.press("maybe")
        with pytest.raises(UseError, match="water_open"):
            board.fault("gremlins")


# -- the firmware itself ----------------------------------------------------------------------------------------------


def test_the_installed_firmware_boots_and_says_hello() -> None:
    with VirtualBoard(load_rig("pot")) as board, serial.Serial(board.path, timeout=30.0) as port:
        assert message(port.readline())["event"] == "boot"
        port.write(wire.encode([("id", 1), ("do", "hello")]))
        answer = message(port.readline())
        assert answer["re"] == 1
        assert answer["ok"] is True


def message(got: bytes) -> dict[str, object]:
    """A line of the wire, or what was said instead."""
    fields, why = wire.decode(got.rstrip(b"\n"))
    assert fields is not None, f"{why}: {got!r}"
    return dict(fields)
