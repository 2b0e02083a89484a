"""`bain page`: the options."""

from __future__ import annotations

import time

import click

from bainwright.commands.console import remark

LOOK_S = 0.2  # how soon Ctrl-C and a used code are noticed


@click.command(short_help="Serve running and past holds as web pages.")
@click.option("--lan", is_flag=True, help="Serve the page to phones on the local network too.")
@click.option("--page-at", metavar="ADDRESS",
              help="Serve the page at this address of this PC, e.g. 192.168.1.20:8024.")
def page(lan: bool, page_at: str | None) -> int:
    """Serve web pages of the holds that run on this PC, and of past ones, until stopped with Ctrl-C."""
    from bainwright.core.keys import Interrupts
    from bainwright.page.hosting import Page, addresses

    served = Page(*addresses(lan, page_at))
    for line in served.welcome():
        remark(line)
    with served, Interrupts() as interrupts:
        while not interrupts.count and not interrupts.go:
            time.sleep(LOOK_S)
            if line := served.invite_the_next():
                remark(line)
    return 0
