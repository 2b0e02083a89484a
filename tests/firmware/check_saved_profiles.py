"""What a board stores for evenings without a PC: bounded, in order, old or new after a power cut."""

from fake_flash import Flash, PowerCutError

from bainboard import wire
from bainboard.saved_profiles import MOST, SavedProfiles, name_of


def profile(name, **more):
    """A stored profile."""
    figures = {"name": name, "low_c": 30.0}
    figures.update(more)
    return wire.text([(key, figures[key]) for key in sorted(figures)]).encode()


def names(kept):
    """What is stored, by its places."""
    return [name_of(kept.at(place)) for place in range(len(kept.rows()))]


def test_nothing_is_stored_at_first_and_the_last_evening_is_the_usual_one():
    kept = SavedProfiles(Flash())
    assert kept.rows() == []
    assert kept.find("dark") is None
    assert kept.last() == {"stage": "melt", "for_ms": 0, "room": 20000}


def test_chocolates_stay_in_the_order_they_came_and_one_of_the_same_name_takes_its_place():
    kept = SavedProfiles(Flash())
    for name in ("dark", "milk", "white"):
        kept.put(profile(name))
    kept.put(profile("milk", low_c=29.5))
    assert names(kept) == ["dark", "milk", "white"]
    assert kept.at(kept.find("milk")) == profile("milk", low_c=29.5)
    assert kept.at(3) is None
    assert kept.at(99) is None


def test_with_no_place_left_the_last_one_gives_way():
    kept = SavedProfiles(Flash())
    for n in range(MOST + 2):
        kept.put(profile("no " + str(n)))
    assert names(kept) == ["no " + str(n) for n in range(MOST - 1)] + ["no " + str(MOST + 1)]


def test_what_is_there_already_is_not_written_again():
    flash = Flash()
    kept = SavedProfiles(flash)
    kept.put(profile("dark"))
    kept.remember("work", 0, 20000)
    written = len(flash.writes)
    kept.put(profile("dark"))
    kept.remember("work", 0, 20000)
    assert len(flash.writes) == written


def test_the_last_evening_is_remembered():
    flash = Flash()
    SavedProfiles(flash).remember("melted", 28800000, 18500)
    assert SavedProfiles(Flash(flash.survivors())).last() == {"stage": "melted", "for_ms": 28800000, "room": 18500}


def cut_short(flash):
    """Store another milk until the power fails; did it fail?"""
    try:
        SavedProfiles(flash).put(profile("milk", low_c=29.5))
    except PowerCutError:
        return True
    return False


def test_a_power_cut_while_one_is_stored_leaves_the_others_and_the_old_or_the_new():
    whole = Flash()
    for name in ("dark", "milk"):
        SavedProfiles(whole).put(profile(name))
    for steps in range(0, 400, 7):
        flash = Flash(whole.survivors(), "torn", steps)
        cut_short(flash)
        after = SavedProfiles(Flash(flash.survivors()))
        assert after.at(0) == profile("dark")
        assert after.at(1) in (profile("milk"), profile("milk", low_c=29.5))


def test_a_flash_that_takes_nothing_does_not_keep_an_evening_from_starting():
    flash = Flash()

    def refuse(path, data):
        raise OSError(28)

    flash.write = refuse
    SavedProfiles(flash).remember("work", 0, 20000)
    assert SavedProfiles(flash).last()["stage"] == "melt"
