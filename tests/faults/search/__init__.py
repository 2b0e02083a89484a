"""A search for the warmest water: the firmware's core on plants of other structures, faults crossed with people's acts.

Pure Python without any package, so that PyPy plays it too (Debian: ``apt-get install pypy3``, several times faster).
"""
