"""Requests that turn the heat off. They are always in memory. See `requests_hold`."""


def stop(app, args: dict, now_ms: int) -> tuple:
    """End the hold; nothing is left to resume."""
    app.power.drop()
    app.warmer.stop()
    return [], None


def pause(app, args: dict, now_ms: int) -> tuple:
    """Hands go into the water."""
    return [], app.warmer.pause(now_ms)
