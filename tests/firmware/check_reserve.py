"""The reserve: there once held, gone while it is spent, there again, and given up for what finds no room."""

from bainboard import reserve


class File:
    """Stands for a file."""

    def __init__(self, written):
        self.write = written.append

    def __enter__(self):
        return self

    def __exit__(self, *error):
        self.write("closed")


def fresh():
    reserve.spend()
    reserve.keep()


def standing_in(name, maker, check):
    """Run a check with one of the builtins that the module uses replaced."""
    setattr(reserve, name, maker)
    try:
        check()
    finally:
        delattr(reserve, name)
        reserve.spend()


def test_it_is_there_until_it_is_spent():
    fresh()
    assert reserve.spend()
    assert not reserve.spend()
    fresh()
    assert reserve.spend()


def test_it_is_held_behind_what_is_free():
    reserve.spend()
    reserve.hold(4096)
    assert reserve.spend()


def test_what_is_left_of_it_is_taken_back():
    asked = []

    def scattered(size):
        asked.append(size)
        if size > 4000:
            raise MemoryError
        return bytes(size)

    def check():
        reserve.spend()
        reserve.keep()
        assert asked == [12288, 6144, 3072]
        assert reserve.spend()

    standing_in("bytearray", scattered, check)


def test_a_heap_too_scattered_for_it_is_no_error():
    def full(size):
        raise MemoryError

    def check():
        reserve.spend()
        reserve.keep()
        assert not reserve.spend()

    standing_in("bytearray", full, check)


def test_a_file_that_finds_no_room_is_opened_with_the_reserve_given_up():
    asked, written = [], []

    def short_of_memory(*wanted):
        asked.append(wanted)
        if len(asked) == 1:
            raise MemoryError
        return File(written)

    def check():
        fresh()
        reserve.write("log", "ab", b"12")
        assert asked == [("log", "ab")] * 2
        assert written == [b"12", "closed"]
        assert reserve.spend()  # there again
        del asked[:]
        try:
            reserve.opened("log", "ab")
            raise AssertionError("there was nothing to give up")
        except MemoryError:
            assert len(asked) == 1

    standing_in("open", short_of_memory, check)


def test_a_piece_is_as_long_as_asked():
    assert len(reserve.piece(300)) == 300
