"""`bain page`: the options."""

from __future__ import annotations

import time

import click

from bainwright.commands import options
from bainwright.commands.console import remark

LOOK_S = 0.2  # how soon Ctrl-C and a used code are noticed


@click.command(short_help="Serve running and past holds as web pages.")
@options.lan
@options.look
@options.page_at
def page(lan: bool, look: bool, page_at: str | None) -> int:
    """Serve web pages of the holds that run on this PC, and of past ones, until stopped with Ctrl-C."""
    from bainwright.core.keys import Interrupts
    from bainwright.page.hosting import Page, addresses

    served = Page(*addresses(lan, page_at), look=look)
    for line in served.welcome():
        remark(line)
    with served, Interrupts() as interrupts:
        while not interrupts.count and not interrupts.go:
            time.sleep(LOOK_S)
            if line := served.invite_the_next():
                remark(line)
    return 0
