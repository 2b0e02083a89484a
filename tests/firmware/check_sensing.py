"""Calibration, range and jump: a reading is a temperature or a reason, never a plausible number."""

from bainboard import sensing
from bainboard.drivers import codes
from bainboard.sensing import Probe


class Driver:
    """A driver that reads a given value."""

    def __init__(self, temp_c=30.0, code=sensing.OK):
        self.reading = (temp_c, code)
        self.started = 0
        self.accuracy_unknown = False

    def start(self):
        self.started += 1

    def read(self):
        return self.reading


def reads(driver, temp_c, probe, now_ms):
    driver.reading = (temp_c, sensing.OK)
    return probe.read(now_ms)


def test_calibration_is_gain_then_offset():
    temp_c, code = Probe(Driver(30.0), -0.25, 1.01, 5.0).read(0)
    assert code == sensing.OK
    assert abs(temp_c - (30.0 * 1.01 - 0.25)) <= 1e-5


def test_a_driver_s_fault_is_passed_on_with_no_temperature():
    driver = Driver(33.0, sensing.BAD_CRC)
    assert Probe(driver, 0.0, 1.0, 5.0).read(0) == (None, sensing.BAD_CRC)


def test_start_begins_a_conversion():
    driver = Driver()
    Probe(driver, 0.0, 1.0, 5.0).start()
    assert driver.started == 1


def test_what_no_bath_can_be_is_out_of_range():
    for temp_c in (-6.0, 111.0, float("nan"), float("inf"), -float("inf")):
        assert Probe(Driver(temp_c), 0.0, 1.0, 5.0).read(0) == (None, sensing.RANGE), temp_c


def test_a_jump_is_refused_and_the_old_level_believed_again():
    driver = Driver()
    probe = Probe(driver, 0.0, 1.0, 5.0)
    assert reads(driver, 30.0, probe, 0) == (30.0, sensing.OK)
    assert reads(driver, 36.0, probe, 1000) == (None, sensing.JUMP)
    assert reads(driver, 30.0, probe, 2000) == (30.0, sensing.OK)


def test_the_fastest_true_change_passes_in_both_directions():
    driver = Driver()
    probe = Probe(driver, 0.0, 1.0, 5.0)
    for i, temp_c in enumerate((30.0, 34.5, 39.0, 34.5, 30.0)):
        assert reads(driver, temp_c, probe, 1000 * i)[1] == sensing.OK


def test_a_new_level_is_believed_after_as_long_as_it_would_take():
    driver = Driver()
    probe = Probe(driver, 0.0, 1.0, 5.0)
    reads(driver, 30.0, probe, 0)
    codes_seen = [reads(driver, 50.5, probe, 1000 * i)[1] for i in range(1, 7)]
    assert codes_seen == [sensing.JUMP] * 4 + [sensing.OK] * 2  # 20.5 K at 5 K/s: the fifth second


def test_readings_at_one_instant_are_not_a_jump_for_a_quantum():
    driver = Driver()
    probe = Probe(driver, 0.0, 1.0, 5.0)
    reads(driver, 30.0, probe, 0)
    assert reads(driver, 30.0625, probe, 0) == (30.0625, sensing.OK)


def test_accuracy_unknown_is_the_driver_s_word():
    driver = Driver()
    probe = Probe(driver, 0.0, 1.0, 5.0)
    assert not probe.accuracy_unknown
    driver.accuracy_unknown = True
    assert probe.accuracy_unknown


def test_every_code_has_its_own_words():
    values = [getattr(codes, name) for name in dir(codes) if name.isupper()]
    texts = [sensing.text(code) for code in values]
    assert all(texts)
    assert len(set(texts)) == len(values)
    assert "99" in sensing.text(99)
