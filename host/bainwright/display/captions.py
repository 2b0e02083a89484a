"""Captions over the picture of a hold: which of them have room, and in which row."""

from __future__ import annotations

from dataclasses import dataclass

LEVELS = 4  # rows of captions over the picture
BESIDE = 0.005  # of the picture's width, left free beside a caption's line


@dataclass(frozen=True)
class Caption:
    """A label for a moment of the hold."""

    t_s: float
    text: str
    important: bool = False  # placed before the others


def place_captions(captions: list[Caption], end_s: float) -> list[tuple[Caption, int]]:
    """The row over the picture for each caption; one without space is left out (the log has it).

    The line of a caption runs down through the rows below its own, so a row is preferred where no words lie across a
    line. Of captions close together the last one is lowest, since words begin at their lines.

    Parameters
    ----------
    captions : list of Caption
        In order of time.
    end_s : float
        The hold's length, which is the picture's width.

    Returns
    -------
    list of (Caption, int)
        Row 0 is next to the picture.
    """
    fitting = [each for each in captions if each.t_s <= end_s]
    chosen = _placed(sorted(fitting, key=lambda each: (not each.important, each.t_s)), end_s)
    clearer = _placed(sorted((each for each, _ in chosen), key=lambda each: _turn(each, end_s)), end_s)
    return sorted(clearer if len(clearer) == len(chosen) else chosen, key=lambda each: each[0].t_s)


def _placed(captions: list[Caption], end_s: float) -> list[tuple[Caption, int]]:
    """Each caption, in this order, in the lowest row that is free, if possible one where no line crosses words."""
    placed: list[tuple[Caption, int]] = []
    for caption in captions:
        free = [row for row in range(LEVELS) if not any(
            row == other_row and _meet(caption, other, end_s) for other, other_row in placed)]  # fmt: skip
        clear = [row for row in free if not any(
            _crosses(caption, other, end_s) if row > other_row else row < other_row and _crosses(other, caption, end_s)
            for other, other_row in placed)]  # fmt: skip
        if free:
            placed.append((caption, (clear or free)[0]))
    return placed


def _turn(caption: Caption, end_s: float) -> tuple[bool, float]:
    """When it is placed, so that its words are in the way of no later caption's line."""
    late = is_late(caption, end_s)
    return late, caption.t_s if late else -caption.t_s


def _meet(one: Caption, other: Caption, end_s: float) -> bool:
    """Do they overlap in one row?"""
    (start_s, stop_s), (other_start_s, other_stop_s) = span_s(one, end_s), span_s(other, end_s)
    return stop_s > other_start_s and start_s < other_stop_s


def _crosses(upper: Caption, lower: Caption, end_s: float) -> bool:
    """Does the line of the upper one run through the words of the lower one?"""
    wide_s = _width_s(lower, end_s)
    from_s, to_s = (-wide_s, 0.0) if is_late(lower, end_s) else (0.0, wide_s)
    return from_s < upper.t_s - lower.t_s < to_s


def is_late(caption: Caption, end_s: float) -> bool:
    """Would it run off the paper? Then it goes to the left of its line."""
    return caption.t_s + _width_s(caption, end_s) > 1.12 * end_s


def span_s(caption: Caption, end_s: float) -> tuple[float, float]:
    """The span it covers on the time axis, with a little on both sides of the words."""
    wide_s, beside_s = _width_s(caption, end_s), BESIDE * end_s
    if is_late(caption, end_s):
        return caption.t_s - wide_s, caption.t_s + beside_s
    return caption.t_s - beside_s, caption.t_s + wide_s


def _width_s(caption: Caption, end_s: float) -> float:
    """The time a caption covers: a letter is about 1/140 of the picture's width."""
    return end_s * (0.0072 * len(caption.text) + 0.02)
