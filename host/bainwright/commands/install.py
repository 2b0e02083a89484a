"""`bain install`: the options."""

from __future__ import annotations

from typing import Any

import click

from bainwright.commands import options
from bainwright.commands.console import say


@click.command(short_help="Put this program's firmware on a board.")
@options.board
@click.option("--dry-run", is_flag=True, help="Only show what would change.")
@click.option("--check", is_flag=True, help="Only show what is there and whether it differs from this program's.")
@click.option("--back", is_flag=True, help="Go back to the version before.")
@options.json
def install(as_json: bool, **asked: Any) -> int:
    """Put this program's firmware on a board that runs MicroPython.

    Only what differs is sent. If it is interrupted at any point, the board starts the version it had; if a new
    version fails its first start, the board returns to the old one. Nothing is changed while the warmer heats.
    """
    from bainwright.install.installer import InstallAsked
    from bainwright.install.report import install_and_report

    return install_and_report(InstallAsked(**asked), as_json=as_json, say=say)
