"""Run on a board by `bain install`: what the board is and what is on it, one JSON text a line. Changes nothing."""

import json
import os
import sys

kind = sys.implementation
# First what any board with some Python can tell.
print(json.dumps({
    "implementation": kind[0], "python": list(kind[1][:3]), "mpy": getattr(kind, "_mpy", None),
    "platform": sys.platform, "machine": os.uname()[4],
}))


def digest(path):
    """SHA-256 of a file as hex digits."""
    found = hashlib.sha256()
    with open(path, "rb") as file:
        count = file.readinto(buffer)
        while count:
            found.update(memoryview(buffer)[:count])
            count = file.readinto(buffer)
    return binascii.hexlify(found.digest()).decode()


def tell(path):
    """One file."""
    print(json.dumps({"path": path, "size": os.stat(path)[6], "sha256": digest(path)}))


def tell_tree(folder):
    """Every file under a folder."""
    for entry in os.ilistdir(folder):
        path = folder + "/" + entry[0]
        if entry[1] == 0x4000:
            tell_tree(path)
        else:
            tell(path)


def tell_all():
    """Everything else."""
    root = os.listdir("/")
    if "log" in root:
        root += ["log/" + name for name in os.listdir("/log") if not name.endswith(".seg")]
    space = os.statvfs("/")
    free = space[3] if space[3] <= space[2] else 0  # a full littlefs counts below zero, and that wraps round
    print(json.dumps({"root": root, "block": space[0], "free": space[0] * free}))
    if "main.py" in root:
        tell("/main.py")
        with open("/main.py") as file:
            print(json.dumps({"main": file.read(100)}))
    if "fw" in root:
        tell_tree("/fw")
        if "boot" in os.listdir("/fw"):
            with open("/fw/boot") as file:
                print(json.dumps({"record": file.read(200)}))
    print(json.dumps({"all": True, "inflates": inflates}))


if kind[0] == "micropython":
    import binascii
    import hashlib

    buffer = bytearray(1024)
    try:
        import deflate  # noqa: F401 - is it there?

        inflates = True
    except ImportError:
        inflates = False
    tell_all()
