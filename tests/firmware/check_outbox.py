"""The outbox: whole lines in order, bounded, never waiting."""

from bainboard.outbox import Outbox


class Slow:
    """A stream that takes so many bytes and then no more until refilled."""

    def __init__(self, room):
        self.room = room
        self.got = b""

    def __call__(self, data):
        taken = bytes(data[: self.room])
        self.room -= len(taken)
        self.got += taken
        return len(taken)


def test_lines_leave_whole_and_in_order_through_a_stream_that_takes_three_bytes_at_a_time():
    box = Outbox()
    for line in (b"first\n", b"second\n", b"third\n"):
        box.put(line)
    stream = Slow(0)
    while not box.empty:
        stream.room = 3
        box.pump(stream)
    assert stream.got == b"first\nsecond\nthird\n"
    assert box.drops == 0


def test_a_full_box_drops_its_oldest_line_and_counts_it():
    box = Outbox(most=2)
    for line in (b"1\n", b"2\n", b"3\n"):
        box.put(line)
    stream = Slow(100)
    box.pump(stream)
    assert stream.got == b"2\n3\n"
    assert box.drops == 1


def test_a_half_written_line_is_never_cut_by_a_drop():
    box = Outbox(most=2)
    box.put(b"first\n")
    stream = Slow(3)
    box.pump(stream)
    box.put(b"2\n")
    box.put(b"3\n")
    stream.room = 100
    box.pump(stream)
    assert stream.got == b"first\n3\n"
    assert box.drops == 1


def test_what_nobody_reads_gives_way_to_memory_but_for_a_half_written_line():
    box = Outbox()
    for line in (b"first\n", b"2\n", b"3\n"):
        box.put(line)
    stream = Slow(3)
    box.pump(stream)
    assert box.shed() == 2
    assert box.shed() == 0
    box.put(b"4\n")
    stream.room = 100
    box.pump(stream)
    assert stream.got == b"first\n4\n"
    assert box.drops == 2
    assert box.shed() == 0
