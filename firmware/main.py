"""bainwright's start: the heater pin made safe before anything else, then the version that the record names.

Versions of the firmware lie side by side in /fw, each in a folder named by its hash. The record /fw/boot is one line:
the version to start, the one before it ("-": none), the state of the first, and a CRC. A new version is started once on
trial; if that start ends without `keep` being called, the next one goes back to the version before. A version is
started by `bainboard.start.run(version, keep or None)`, which never changes: this file starts older ones as well.
"""

import sys

import machine

HEATER = {"esp32": 25}.get(sys.platform, 15)  # as in pins.py, which lies in a version; a test compares the two
machine.Pin(HEATER, machine.Pin.OUT, value=0)

import binascii  # noqa: E402 - the pin comes first
import os  # noqa: E402

RECORD = "/fw/boot"
NONE = "-"
NEW, TRIED, GOOD, BACK = "new", "tried", "good", "back"  # back: the version before is one that failed its trial


def read() -> tuple | None:
    """(current, before, state), or None where there is no whole record."""
    try:
        with open(RECORD) as file:
            words, _, crc = file.read().strip().rpartition(" ")
    except OSError:
        return None
    record = tuple(words.split(" "))
    return record if len(record) == 3 and crc == f"{binascii.crc32(words.encode()):08X}" else None


def write(*record: str) -> None:
    """Replace the record: on littlefs a rename happens completely or not at all."""
    words = " ".join(record)
    with open(RECORD + ".new", "w") as file:
        file.write(f"{words} {binascii.crc32(words.encode()):08X}\n")
    os.rename(RECORD + ".new", RECORD)


def choose(current: str, before: str, state: str) -> tuple:
    """(version to start, the one before, is this its trial?); first writes what the next start must know."""
    alone = before == NONE
    if state not in (NEW, TRIED):
        return current, before, False
    try:
        if state == NEW:
            write(current, before, TRIED)
            return current, before, True
        if not alone:
            write(before, current, BACK)
    except OSError:  # full or worn: without the mark a failing version would be started again and again
        pass
    return (current, before, True) if alone else (before, current, False)


def start() -> None:
    """Start the version in the record; if its trial fails with an error, the one before is next."""
    record = read()
    if record is None:
        print("bainboard: no firmware is chosen here; on the PC: bain install")
        return
    current, before, on_trial = choose(*record)
    sys.path.insert(0, "/fw/" + current)
    try:
        from bainboard import start

        start.run(current, (lambda: write(current, before, GOOD)) if on_trial else None)
    except Exception as error:
        if not on_trial or before == NONE or read() == (current, before, GOOD):
            raise
        try:
            with open("/crash.txt", "w") as file:
                sys.print_exception(error, file)
        finally:
            machine.reset()


start()
