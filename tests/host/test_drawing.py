"""Drawings of one process: Matplotlib's settings are global, and the page draws in threads."""

import threading

import matplotlib as mpl

from bainwright.display.drawing import drawing


def test_two_threads_draw_one_after_the_other_and_leave_the_settings_as_they_were():
    before = mpl.rcParams["font.size"]
    entered, ended, other_sees = threading.Event(), [], []

    def other():
        entered.set()
        with drawing(7.0):
            other_sees.append((mpl.rcParams["font.size"], list(ended)))

    with drawing(9.0), drawing(10.0):  # a drawing may be made of others
        thread = threading.Thread(target=other)
        thread.start()
        assert entered.wait(30)
        assert mpl.rcParams["font.size"] == 10.0
        ended.append("first")
    thread.join(30)
    assert other_sees == [(7.0, ["first"])]
    assert mpl.rcParams["font.size"] == before
