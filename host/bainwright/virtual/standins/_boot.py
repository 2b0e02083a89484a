"""Start of the board's interpreter: install the stand-ins, mount the flash, run main.py."""

import gc
import sys


def start(address, fds, board, run_main, source):
    """Boot. When main.py ends this returns to the REPL, and time is real from there on."""
    import _clock

    _clock.pins, _clock.platform, _clock.machine, times = board
    flash = _clock.open_memory(address, *fds)
    _install()
    if times and not source:
        _take_time(times)
    import os

    from _flash import Flash

    os.umount("/")
    if source:
        _write(os, Flash(flash), source)
        return
    _mount(os, Flash(flash))
    sys.path[:] = ["", ".frozen", "/lib"]
    gc.collect()  # so that main.py starts with an unfragmented heap, as on a board
    _run("/boot.py", os)
    if run_main:
        _run("/main.py", os)
    _leave_main()
    _clock.go_real()


def _write(os, device, source):
    """Format, and write files that come as path length, path, content length, content; at length -1 only mount."""
    import uctypes

    at, size = source
    packed = memoryview(uctypes.bytearray_at(at, size) if size > 0 else b"")
    if size >= 0:
        os.VfsLfs2.mkfs(device, progsize=256)
    os.mount(os.VfsLfs2(device, progsize=256), "/")
    at = 0
    while at < len(packed):
        parts = []
        for _ in range(2):
            size = int.from_bytes(packed[at : at + 4], "little")
            parts.append(packed[at + 4 : at + 4 + size])
            at += 4 + size
        path, content = str(parts[0], "utf8"), parts[1]
        for i in range(1, len(path)):
            if path[i] == "/":
                _make_folder(os, path[:i])
        with open(path, "wb") as file:
            file.write(content)
    os.umount("/")


def _make_folder(os, path):
    try:
        os.stat(path)
    except OSError:
        os.mkdir(path)


def _mount(os, device):
    """An erased or damaged flash is formatted, as the rp2 port does."""
    try:
        os.mount(os.VfsLfs2(device, progsize=256), "/")
    except OSError:
        os.VfsLfs2.mkfs(device, progsize=256)
        os.mount(os.VfsLfs2(device, progsize=256), "/")
    os.chdir("/")


def _install():
    """Import every stand-in now, under both of its names, so that no code reaches the PC's clock or pins."""
    modules = sys.modules
    import builtins
    import select
    import time

    import _clock
    import _console
    import _gc
    import _micropython
    import _os
    import _sys
    import machine
    import onewire
    import rp2

    for name, module in (("time", time), ("select", select), ("machine", machine), ("os", _os), ("sys", _sys)):
        modules[name] = modules["u" + name] = module
    modules["micropython"], modules["gc"] = _micropython, _gc
    modules["onewire"] = onewire
    if _clock.platform == "rp2":
        modules["rp2"] = rp2
    else:
        del modules["rp2"]
    builtins.print = _console.show


def _take_time(times):
    """From now on collections and requests take a board's time."""
    import _clock
    import _gc

    sweep_us, sweep_us_per_kb, _clock.byte_us, _clock.request_us = times
    _gc.take_time(sweep_us, sweep_us_per_kb)
    _clock.before_wait = _gc.before_wait


def _leave_main():
    """The prompt and what runs at it use the real terminal."""
    import builtins

    import _console

    del sys.modules["sys"], sys.modules["usys"], sys.modules["gc"]
    builtins.print = _console._print


def _run(path, os):
    """Run a file of the flash as the board's start-up does."""
    import _clock
    import _console

    import __main__

    try:
        os.stat(path)
    except OSError:
        return
    try:
        with open(path) as file:
            code = compile(file.read(), path[1:], "exec")
        exec(code, __main__.__dict__)
    except SystemExit:
        _clock.halt(b"s")
    except BaseException as error:
        _console.show_exception(error)
