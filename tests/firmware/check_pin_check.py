"""Pins that a rig moves: what cannot do its job is refused, and heat stays where the board has it."""

from bainboard import pin_check, pins, settings


def values(**given):
    doc = {name.replace("__", "."): value for name, value in given.items()}
    found, why = settings.check(settings.SETTINGS, doc)
    assert why is None, why
    return found


def refused(kind, **given):
    chosen, why = pin_check.settle(kind, values(**given))
    assert chosen is None
    return why


def test_every_board_s_own_map_does_every_job_with_everything_fitted():
    for kind in pins.KINDS:
        own = pins.for_platform(kind)
        for name in pin_check.MOVABLE:
            assert own[name] in pin_check.able(kind, name), (kind, name)
        assert sorted(own) == sorted(pin_check.FIXED + pin_check.MOVABLE)
        assert len(set(own.values())) == len(own), kind
        for water in ("onewire", "ntc", "platinum"):
            for bowl in ("none", "onewire", "ntc", "platinum"):
                given = values(panel=True, display=True, probe__water__kind=water, probe__bowl__kind=bowl)
                assert pin_check.settle(kind, given) == (own, None)


def test_a_moved_pin_is_moved_and_the_rest_stays():
    chosen, why = pin_check.settle("pico", values(pins="yes=9 no=8", panel=True))
    assert why is None
    assert (chosen["yes"], chosen["no"]) == (9, 8)
    chosen["yes"], chosen["no"] = pins.RP2["yes"], pins.RP2["no"]
    assert chosen == pins.RP2


def test_two_pins_may_change_places():
    assert pin_check.settle("pico", values(pins="yes=11 no=10", panel=True))[1] is None


def test_what_heats_never_moves():
    for name in ("heater", "guard", "heartbeat"):
        for kind in pins.KINDS:
            assert "stays where the board has it" in refused(kind, pins=name + "=22")


def test_nothing_may_share_a_pin_with_what_heats():
    for name in ("heater", "guard", "heartbeat"):
        for kind in pins.KINDS:
            gpio = pins.for_platform(kind)[name]
            why = refused(kind, pins=f"onewire={gpio}")
            assert why == f"pins.onewire: got GPIO {gpio}, which is the pin of {name}"


def test_a_pin_that_cannot_do_the_job_is_refused_with_those_that_can():
    # RP2040: 26 to 28 have converter inputs, 23 to 25 and 29 stay inside. ESP32: flash on 6 to 11, 34 to 39 only read,
    # 0, 2, 12, 15 read at the start, 1 and 3 the serial port (data sheets and pinouts, from memory).
    assert refused("pico", pins="adc_water=22") == "pins.adc_water: got GPIO 22, wanted one of 26 27 28 of this pico"
    for kind, name, bad in (
        ("pico", "onewire", (23, 24, 25, 29, 30)), ("pico2", "buzzer", (23, 24, 25, 29, 47)),
        ("esp32", "onewire", (6, 11, 34, 39, 0, 2, 12, 15, 1, 3, 24, 40)), ("esp32", "adc_water", (4, 25, 27)),
        ("esp32", "yes", (34, 36)), ("esp32", "cs_bowl", (35, 6)), ("esp32", "miso", (6, 0)),
    ):
        for gpio in bad:
            assert f"got GPIO {gpio}, wanted one of" in refused(kind, pins=f"{name}={gpio}"), (kind, name, gpio)


def test_what_is_not_fitted_is_in_nobody_s_way():
    assert pin_check.settle("pico", values(pins="onewire=10"))[1] is None
    assert refused("pico", pins="onewire=10", panel=True) == "pins.onewire: got GPIO 10, which is the pin of yes"


def test_what_is_moved_onto_heat_is_refused_even_where_it_is_not_fitted():
    assert refused("pico", pins="yes=15") == "pins.yes: got GPIO 15, which is the pin of heater"


def test_what_is_no_pin_is_refused():
    assert refused("pico", pins="bell=4").startswith("pins.bell: no such pin, wanted one of onewire, ")
    for text in ("yes", "yes=", "yes=x", "yes=-1", "yes=100", "yes=1.5", "yes=4 yes=5", "=4", "yes= 4"):
        assert refused("pico", pins=text).startswith("pins."), text


def test_the_kind_of_board_is_known_by_platform_and_machine():
    # os.uname().machine of the ports, from memory.
    for platform, machine, kind in (
        ("rp2", "Raspberry Pi Pico with RP2040", "pico"), ("rp2", "Raspberry Pi Pico W with RP2040", "pico"),
        ("rp2", "Raspberry Pi Pico 2 with RP2350", "pico2"), ("rp2", "Raspberry Pi Pico 2 W with RP2350", "pico2"),
        ("esp32", "Generic ESP32 module with ESP32", "esp32"),
    ):
        assert pins.kind_of(platform, machine) == kind


def test_the_display_s_two_pins_are_of_one_block():
    """RP2040 data sheet, 1.4.3, from memory: even pins are SDA, odd ones SCL, pairs alternate between two blocks."""
    chosen, why = pin_check.settle("pico", values(pins="sda=8 scl=9", display=True))
    assert why is None
    assert (chosen["sda"], chosen["scl"]) == (8, 9)
    assert "two I2C blocks" in refused("pico", pins="scl=3", display=True)
    assert "pins.sda" in refused("pico", pins="sda=7", display=True)
    assert pin_check.settle("esp32", values(pins="sda=13 scl=23", display=True))[1] is None
