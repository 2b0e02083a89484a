"""The stored documents at a start and on arrival: an unusable one is reported, and nothing heats."""

from fake_flash import Flash

from bainboard import framing, pin_check, settings, store
from bainboard.documents import Documents

BOARD = b'{"name":"mine","panel":true,"pins":"yes=9 no=8"}'
MISFIT = b'{"name":"theirs","panel":true,"pins":"yes=2 no=2"}'
CHOCOLATE = b'{"name":"dark","low_c":31.0,"target_c":31.5,"high_c":32.0}'


def misfit(values):
    """Why settings do not fit a Pico, as its board says it."""
    return pin_check.settle("pico", values)[1] if values["pins"] else None


def documents(**payloads):
    """What a board with these payloads stored has at its start."""
    flash = Flash()
    for what in payloads:
        store.Slots(flash, what).save(payloads[what])
    return Documents(flash, misfit)


def test_what_fits_is_used():
    there = documents(settings=BOARD, profile=CHOCOLATE)
    assert not there.damaged
    assert there.settings["pins"] == "yes=9 no=8"
    assert there.profile["name"] == "dark"
    assert not documents().damaged  # a new board has none, and works with what is usual


def test_stored_settings_that_do_not_fit_this_board_are_as_good_as_damaged():
    for payload in (MISFIT, b'{"heater_w":-1.0}', b'{"no_such":1}', b"{"):
        there = documents(settings=payload)
        assert there.damaged == ["settings"], payload
        assert there.settings == settings.check(settings.SETTINGS, {})[0]
        assert there.payload["settings"] == b""  # a host sees none, sends its own, and hears what is wrong with them
        assert there.save("settings", BOARD) is None
        assert there.damaged == []
        assert there.settings["name"] == "mine"


def test_settings_that_come_and_do_not_fit_are_refused_with_the_reason_and_change_nothing():
    there = documents(settings=BOARD)
    why = there.save("settings", MISFIT)
    assert why.startswith("pins.no: got GPIO 2, which is the pin of"), why
    assert there.payload["settings"] == BOARD
    assert not there.damaged


def test_another_document_does_not_make_up_for_a_damaged_one():
    flash = Flash({"settings.a": b"junk", "settings.b": framing.pack(1, 1, b"{}")[:-1]})
    there = Documents(flash, misfit)
    assert there.damaged == ["settings"]
    assert there.save("profile", CHOCOLATE) is None
    assert there.damaged == ["settings"]
    assert there.save("settings", MISFIT) is not None
    assert there.damaged == ["settings"]
    assert there.save("settings", BOARD) is None
    assert not there.damaged
