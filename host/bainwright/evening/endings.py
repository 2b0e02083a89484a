"""Why a hold is over."""

from __future__ import annotations

DONE, STOPPED, TRIPPED, RESTARTED, LEFT, LOST = "done", "stopped", "tripped", "restarted", "left running", "lost"
NEVER_RAN = "never ran"  # it answered that it started, but stayed idle
NOT_OFF = "not off"  # it was asked to stop, and did not report that it is off
OTHER = "another hold"  # the board runs another one now: somebody stopped this one and started that one
