"""Run on a board by `bain install`: a version from the pieces that were sent, then the switch to it.

The pieces come in a few files, packed where the board can unpack them; a file each would take most of a minute longer.
What is done is printed, for the other end takes a long silence for a board that hangs.
Until the record is renamed into place nothing that the board starts has changed, except for main.py, which starts every
version. Files come under new names and are renamed once their hash is right.
"""

import binascii
import hashlib
import json
import os

STAGED = "/fw/new"
RECORD = "/fw/boot"
buffer = bytearray(1024)


def exists(path):
    """Is there such a file or folder?"""
    try:
        os.stat(path)
    except OSError:
        return False
    return True


def digest(path):
    """SHA-256 of a file as hex digits; empty for none."""
    if not exists(path):
        return ""
    found = hashlib.sha256()
    with open(path, "rb") as file:
        count = file.readinto(buffer)
        while count:
            found.update(memoryview(buffer)[:count])
            count = file.readinto(buffer)
    return binascii.hexlify(found.digest()).decode()


def make_folders(path):
    """Every folder above a file."""
    for at in range(1, len(path)):
        if path[at] == "/" and not exists(path[:at]):
            os.mkdir(path[:at])


def remove(path):
    """A file, or a folder with all that is in it."""
    if os.stat(path)[0] & 0x4000:
        for name in os.listdir(path):
            remove(path + "/" + name)
        os.rmdir(path)
    else:
        os.remove(path)


def ours(name):
    """Is it a version's folder, or something on its way? Whatever else a person keeps under /fw is none of ours."""
    return name in ("new", "boot.new") or (len(name) == 8 and not name.strip("0123456789abcdef"))


def tidy(keep):
    """Versions nobody needs any more."""
    for name in os.listdir("/fw"):
        if ours(name) and name not in keep:
            remove("/fw/" + name)


def copy(source, target):
    """A file of another version, as it would have been sent."""
    with open(source, "rb") as old, open(target, "wb") as new:
        count = old.readinto(buffer)
        while count:
            new.write(memoryview(buffer)[:count])
            count = old.readinto(buffer)


def prepare(keep):
    """A place for what is about to be sent."""
    make_folders(STAGED + "/")
    if exists("/FW"):
        print(json.dumps({"wrong": "fat"}))  # names without case: a file system on which a rename is not one act
        raise SystemExit
    tidy(keep)


def unpack(name, wanted):
    """The pieces of a bundle as files, each a line with its name and size before its bytes."""
    path = STAGED + "/" + name
    if digest(path) != wanted:
        print(json.dumps({"wrong": path}))
        raise SystemExit
    with open(path, "rb") as bundle:
        packed = bundle.read(1)[0] & 15 == 8  # as zlib's first byte is (RFC 1950), and no name of a file of ours
        bundle.seek(0)
        if packed:
            import deflate

            bundle = deflate.DeflateIO(bundle, deflate.ZLIB)
        line = bundle.readline()
        while line:
            piece, size = line.split()
            left = int(size)
            with open(STAGED + "/" + piece.decode(), "wb") as file:
                while left:
                    count = bundle.readinto(memoryview(buffer)[: min(left, len(buffer))])
                    file.write(memoryview(buffer)[:count])
                    left -= count
            line = bundle.readline()
    os.remove(path)
    print("unpacked", name)


def place(target, wanted, staged, source):
    """One file in its place, whole; False if what came is not what was sent."""
    if digest(target) == wanted:
        return True
    staged = STAGED + "/" + staged
    if source and digest(staged) != wanted:
        copy(source, staged)
    if digest(staged) != wanted:
        print(json.dumps({"wrong": target}))
        return False
    make_folders(target)
    os.rename(staged, target)
    return True


def put(files, strays, record, left):
    """Put every file in its place, then the record; True if it got that far."""
    for file in files:
        if not place(*file):
            return
        print("placed", file[0])
    for path in strays:
        if exists(path):
            remove(path)
    if record:
        with open(RECORD + ".new", "w") as file:
            file.write(record)
        os.rename(RECORD + ".new", RECORD)
    tidy(left)
    print(json.dumps({"put": True}))
