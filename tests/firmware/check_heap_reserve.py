"""The reserve: there once taken, gone while spent, there again, and given up for what finds no room."""

from bainboard import heap_reserve


class File:
    """A fake file."""

    def __init__(self, written):
        self.write = written.append

    def __enter__(self):
        return self

    def __exit__(self, *error):
        self.write("closed")


def fresh():
    heap_reserve.release()
    heap_reserve.retake()


def standing_in(name, maker, check):
    """Run a check with one of the builtins that the module uses replaced."""
    setattr(heap_reserve, name, maker)
    try:
        check()
    finally:
        delattr(heap_reserve, name)
        heap_reserve.release()


def test_it_is_there_until_it_is_spent():
    fresh()
    assert heap_reserve.release()
    assert not heap_reserve.release()
    fresh()
    assert heap_reserve.release()


def test_it_is_held_behind_what_is_free():
    heap_reserve.release()
    heap_reserve.take(4096)
    assert heap_reserve.release()


def test_what_is_left_of_it_is_taken_back():
    asked = []

    def scattered(size):
        asked.append(size)
        if size > 4000:
            raise MemoryError
        return bytes(size)

    def check():
        heap_reserve.release()
        heap_reserve.retake()
        assert asked == [12288, 6144, 3072]
        assert heap_reserve.release()

    standing_in("bytearray", scattered, check)


def test_a_heap_too_scattered_for_it_is_no_error():
    def full(size):
        raise MemoryError

    def check():
        heap_reserve.release()
        heap_reserve.retake()
        assert not heap_reserve.release()

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
        heap_reserve.write("log", "ab", b"12")
        assert asked == [("log", "ab")] * 2
        assert written == [b"12", "closed"]
        assert heap_reserve.release()  # there again
        del asked[:]
        try:
            heap_reserve.opened("log", "ab")
            raise AssertionError("there was nothing to give up")
        except MemoryError:
            assert len(asked) == 1

    standing_in("open", short_of_memory, check)


def test_a_module_that_is_not_needed_any_more_is_loaded_again_by_the_next_import():
    from bainboard import settings

    before = len(settings.SETTINGS)
    heap_reserve.unload()
    heap_reserve.unload()
    from bainboard import settings

    assert len(settings.SETTINGS) == before
