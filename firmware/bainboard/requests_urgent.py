"""Requests that turn the heat off. They are always in memory, and done without the table of requests."""

from bainboard.answered import ident

PAUSED_IN = ("check", "hold", "off")  # states; as the row of `commands` has them


def is_plain(msg: dict, state: str) -> bool:
    """Is it a stop or a pause that `commands.check` would accept?"""
    do = msg.get("do")
    return len(msg) == 2 and ident(msg) is not None and (do == "stop" or (do == "pause" and state in PAUSED_IN))


def stop(app, args: dict, now_ms: int) -> tuple:
    """End the hold; nothing is left to resume."""
    app.power.drop()
    app.warmer.stop()
    return [], None


def pause(app, args: dict, now_ms: int) -> tuple:
    """Hands go into the water."""
    return [], app.warmer.pause(now_ms)
