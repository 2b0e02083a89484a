"""Two slots: old or new, never mixed, wherever the power goes; and a latch that only a whole record clears."""

import binascii
import os

from fake_flash import HOWS, Flash, PowerCutError

from bainboard import faults, framing, store

OLD, NEW, NEXT = b'{"name":"old"}', b'{"name":"new","heater_w":60.0}', b'{"name":"next"}'


def saved(*payloads, name="settings"):
    """The files after so many saves with the power on."""
    flash = Flash()
    slots = store.Slots(flash, name)
    for payload in payloads:
        slots.save(payload)
    return flash.survivors()


def cut(files, how, steps, act):
    """The files after `act(flash)` with the power going after so many steps, and whether it went."""
    flash = Flash(files, how, steps)
    try:
        act(flash)
    except PowerCutError:
        return flash.survivors(), True
    return flash.survivors(), False


def every_cut(files, act):
    """(what survives, was the act finished) for a cut at every step, in every way."""
    for how in HOWS:
        steps, gone = 0, True
        while gone:
            after, gone = cut(files, how, steps, act)
            yield after, not gone
            steps += 1


def load(files, name="settings"):
    """What a reboot loads."""
    return store.Slots(Flash(files), name).load()


def test_nothing_saved_yet_is_not_damage():
    assert load({}) == (None, 0, store.NONE_YET)
    assert load({"settings.a": b""}) == (None, 0, store.BOTH_LOST)
    assert load({"settings.a": b"junk", "settings.b": b"\xff" * 99}) == (None, 0, store.BOTH_LOST)


def test_the_last_save_is_loaded_and_saves_take_turns():
    flash = Flash()
    slots = store.Slots(flash, "settings")
    for count, payload in enumerate((OLD, NEW, NEXT, OLD)):
        slots.save(payload)
        assert slots.load() == (payload, count + 1, store.GOOD)
    assert flash.writes == ["settings.a", "settings.b", "settings.a", "settings.b"]


def test_a_slot_file_is_one_frame_to_the_byte():
    assert saved(OLD, NEW) == {"settings.a": framing.pack(1, 1, OLD), "settings.b": framing.pack(1, 2, NEW)}


def test_a_cut_at_every_step_leaves_old_or_new_whole_and_the_next_save_works():
    for before in ((), (OLD,), (NEXT, OLD), (OLD, NEXT, OLD)):
        files = saved(*before)
        old = before[-1] if before else None
        for after, finished in every_cut(files, lambda flash: store.Slots(flash, "settings").save(NEW)):
            payload, _, _ = load(after)
            assert payload == NEW if finished else payload in (old, NEW)
            flash = Flash(after)
            slots = store.Slots(flash, "settings")
            slots.save(NEXT)
            assert slots.load()[0] == NEXT
            assert slots.load()[2] == store.GOOD


def test_a_second_cut_while_saving_after_a_first_one_still_leaves_the_old():
    files = saved(NEXT, OLD)
    torn = set()
    for after, _ in every_cut(files, lambda flash: store.Slots(flash, "settings").save(NEW)):
        torn.add(tuple(sorted(after.items())))
    for items in torn:
        old = load(dict(items))[0]
        for after, _ in every_cut(dict(items), lambda flash: store.Slots(flash, "settings").save(NEXT)):
            assert load(after)[0] in (old, NEXT)


def test_any_one_damaged_byte_costs_one_copy_and_is_reported():
    files = saved(OLD, NEW)
    for path, other in (("settings.a", NEW), ("settings.b", OLD)):
        whole = files[path]
        for at in range(len(whole)):
            damaged = dict(files)
            damaged[path] = whole[:at] + bytes([whole[at] ^ 0x10]) + whole[at + 1 :]
            payload, _, note = load(damaged)
            assert payload == other
            assert note == store.ONE_LOST


def test_a_copy_with_bytes_after_it_or_of_another_name_is_lost():
    files = saved(OLD, NEW)
    files["settings.b"] += b"\xff"
    assert load(files) == (OLD, 1, store.ONE_LOST)
    profile = saved(OLD, NEW, name="profile")
    files = {"settings.a": profile["profile.a"], "settings.b": profile["profile.b"]}
    assert load(files) == (None, 0, store.BOTH_LOST)


def test_a_deleted_copy_is_reported_unless_it_was_never_written():
    files = saved(OLD, NEW)
    del files["settings.b"]
    assert load(files) == (OLD, 1, store.GOOD)
    files = saved(OLD, NEW, NEXT)
    del files["settings.b"]
    assert load(files) == (NEXT, 3, store.ONE_LOST)


class Full(Flash):
    """No room for a new file; one that is there may be written over."""

    def write(self, path, data):
        if self.read(path) is None:
            raise OSError(28)
        Flash.write(self, path, data)


def test_a_first_record_is_doubled_while_there_is_room_and_a_full_flash_then_takes_a_latch():
    flash = Flash(latch_saved(0))
    store.Slots(flash, "latch").double()
    store.Slots(flash, "latch").double()
    assert flash.writes == ["latch.b"]
    assert latch(flash.survivors()) == faults.NONE
    full = Full(flash.survivors())
    store.Slots(full, "latch").save(store.latch_payload(faults.WATER_STUCK, 0))
    assert latch(full.survivors()) == faults.WATER_STUCK


def test_a_full_flash_doubles_nothing_and_says_so():
    full = Full(latch_saved(0))
    try:
        store.Slots(full, "latch").double()
    except OSError:
        assert latch(full.survivors()) == faults.NONE
        return
    raise AssertionError("a latch has no room, and nobody learns it")


def test_a_cut_while_doubling_leaves_what_was_said_or_a_latch():
    for number in (0, faults.WATER_STUCK):
        for files, done in every_cut(latch_saved(number), lambda flash: store.Slots(flash, "latch").double()):
            assert latch(files) in ((number,) if done or number else (number, faults.NO_LATCH_RECORD))


def test_what_was_saved_twice_or_never_is_not_doubled():
    for files in ({}, latch_saved(3, 0)):
        flash = Flash(files)
        store.Slots(flash, "latch").double()
        assert flash.writes == []


class Liar(Flash):
    """Flash that drops the last byte of what it is given."""

    def write(self, path, data):
        Flash.write(self, path, data[:-1])


def test_a_write_that_does_not_read_back_is_an_error_and_the_old_copy_holds():
    files = saved(NEXT, OLD)
    flash = Liar(files)
    said = ""
    try:
        store.Slots(flash, "settings").save(NEW)
    except OSError as error:
        said = str(error)
    assert "settings.a" in said
    assert load(flash.survivors())[0] == OLD


# -- the latch ----------------------------------------------------------------------------------------------------


def latch(files):
    """What a reboot finds latched."""
    return store.read_latch(store.Slots(Flash(files), "latch"))


def latch_saved(*numbers):
    """The files after latching (or clearing, 0) so many times."""
    return saved(*[store.latch_payload(number, 1000) for number in numbers], name="latch")


def test_no_record_is_latched():
    assert latch({}) == faults.NO_LATCH_RECORD
    assert latch({"latch.a": b"junk", "latch.b": b""}) == faults.NO_LATCH_RECORD
    assert latch({"latch.a": b"junk"}) == faults.NO_LATCH_RECORD


def test_a_latch_and_its_clearing_survive_a_reboot():
    assert latch(latch_saved(faults.NONE)) == faults.NONE
    assert latch(latch_saved(faults.NONE, faults.WATER_STUCK)) == faults.WATER_STUCK
    assert latch(latch_saved(faults.NONE, faults.WATER_STUCK, faults.NONE)) == faults.NONE


def test_a_record_that_is_whole_but_says_nothing_known_is_latched():
    for payload in (
        b"", b"{}", b"clear", b'{"fault":null,"t":0}', b'{"fault":false,"t":0}', b'{"fault":0.0,"t":0}',
        b'{"fault":"0","t":0}', b'{"fault":-1,"t":0}', b'{"fault":99,"t":0}', b'{"fault":0,"fault":0}', b'{"t":0}',
        b"[0]",
    ):
        assert latch(saved(payload, name="latch")) == faults.NO_LATCH_RECORD, payload
    assert latch(latch_saved(len(faults.FAULTS))) == faults.NO_LATCH_RECORD
    assert latch(latch_saved(len(faults.FAULTS) - 1)) == len(faults.FAULTS) - 1


def test_a_damaged_copy_beside_one_that_says_clear_is_latched():
    """The lost copy may have been the newer one, and a trip."""
    for numbers in ((faults.NONE, faults.WATER_STUCK), (faults.WATER_STUCK, faults.NONE, faults.WATER_STUCK)):
        files = latch_saved(*numbers)
        newest = "latch.b" if len(numbers) == 2 else "latch.a"
        for size in range(len(files[newest])):
            torn = dict(files)
            torn[newest] = files[newest][:size]
            assert latch(torn) != faults.NONE


def test_a_damaged_copy_beside_one_that_says_latched_keeps_that_fault():
    files = latch_saved(faults.NONE, faults.WATER_STUCK)
    files["latch.a"] = b"junk"
    assert latch(files) == faults.WATER_STUCK


def set_latch(number):
    """An act for every_cut."""
    return lambda flash: store.Slots(flash, "latch").save(store.latch_payload(number, 5))


def test_a_cut_while_latching_is_latched_unless_nothing_was_written_yet():
    for numbers in ((faults.NONE,), (faults.WATER_STUCK, faults.NONE), (faults.NONE, faults.WATER_STUCK, faults.NONE)):
        files = latch_saved(*numbers)
        for after, finished in every_cut(files, set_latch(faults.OVER_HARD_LIMIT)):
            found = latch(after)
            if finished:
                assert found == faults.OVER_HARD_LIMIT
            elif after != files:
                assert found in (faults.OVER_HARD_LIMIT, faults.NO_LATCH_RECORD)


def test_a_cut_while_clearing_is_latched_or_cleared_whole():
    for files in (
        {}, {"latch.a": b"junk", "latch.b": b"junk"}, latch_saved(faults.WATER_STUCK),
        latch_saved(faults.NONE, faults.WATER_STUCK),
    ):
        for after, finished in every_cut(files, set_latch(faults.NONE)):
            found = latch(after)
            if finished:
                assert found == faults.NONE
            assert found in (faults.NONE, faults.WATER_STUCK, faults.NO_LATCH_RECORD)
            if found == faults.NONE:
                payload, _, note = store.Slots(Flash(after), "latch").load()
                assert note == store.GOOD
                assert payload == store.latch_payload(faults.NONE, 5)


def test_clearing_after_both_copies_were_lost_makes_two_good_ones():
    files = {"latch.a": b"junk", "latch.b": b"junk"}
    flash = Flash(files)
    set_latch(faults.NONE)(flash)
    assert latch(flash.survivors()) == faults.NONE
    assert store.Slots(flash, "latch").load()[1] == 2


# -- the real flash -------------------------------------------------------------------------------------------------


def scratch():
    """A name in the temporary folder that no other run uses."""
    return "check_store_" + binascii.hexlify(os.urandom(8)).decode()


def test_files_are_written_read_and_reported_absent():
    files = store.Files("/tmp/")
    path = scratch()
    try:
        assert files.read(path) is None
        files.write(path, b"one")
        files.write(path, b"two!")
        files.sync()
        assert files.read(path) == b"two!"
        files.write(path, b"x" * 9000)
        assert len(files.read(path)) < 5000
    finally:
        os.remove("/tmp/" + path)


def test_a_path_that_cannot_be_read_as_a_file_counts_as_damaged():
    path = scratch()
    os.mkdir("/tmp/" + path)
    try:
        assert store.Files("").read("tmp/" + path) == b""
    finally:
        os.rmdir("/tmp/" + path)
