"""The flash chip: blocks in the shared memory, so that files survive resets and power cuts."""

import _clock
import _shared

# W25Q16JV data sheet, 9.6 AC characteristics: sector erase 45 ms, page program 0.4 ms, both typical.
ERASE_US = 45000
PROGRAM_US = 400
PAGE_BYTES = 256
ERASED = b"\xff" * PAGE_BYTES  # made once: the board's heap may have no free piece of a whole block


class Flash:
    """A block device for littlefs."""

    def __init__(self, memory):
        self._memory = memoryview(memory)

    def readblocks(self, block, buf, offset=0):
        """Read from the chip; it is memory-mapped, so this costs no time."""
        at = block * _shared.FLASH_BLOCK + offset
        buf[:] = self._memory[at : at + len(buf)]

    def writeblocks(self, block, buf, offset=0):
        """Program pages."""
        at = block * _shared.FLASH_BLOCK + offset
        done = self._operation(len(buf))
        self._memory[at : at + done] = memoryview(buf)[:done]
        if done < len(buf):
            _clock.halt(b"c")
        _clock.charge((len(buf) + PAGE_BYTES - 1) // PAGE_BYTES * PROGRAM_US)

    def ioctl(self, operation, block):
        """Block count, block size and erase, for littlefs."""
        if operation == 4:
            return _shared.FLASH_BLOCKS
        if operation == 5:
            return _shared.FLASH_BLOCK
        if operation == 6:
            self._erase(block)
        return 0

    def _erase(self, block):
        done = self._operation(_shared.FLASH_BLOCK)
        for at in range(block * _shared.FLASH_BLOCK, block * _shared.FLASH_BLOCK + done, PAGE_BYTES):
            self._memory[at : at + PAGE_BYTES] = ERASED
        if done < _shared.FLASH_BLOCK:
            _clock.halt(b"c")
        _clock.shared.flash_erases += 1
        _clock.charge(ERASE_US)

    def _operation(self, size):
        """Count an operation; returns how many of its bytes are written before a power cut."""
        shared = _clock.shared
        shared.flash_operations += 1
        if shared.flash_operations != shared.flash_cut_at:
            return size
        return size // 2 if shared.flash_cut_torn else 0
