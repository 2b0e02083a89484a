"""Boards that the virtual one can play: their pins, their memory, and the time that they take.

Memory and times were measured on an emulated RP2040 with MicroPython 1.28 (tests/bench/RESULTS.md). What is charged
beside flash and 1-wire bus, which every virtual board charges, are collections and requests. Not charged: the time for
loading the firmware, and what a pass computes without a request.
"""

from __future__ import annotations

from dataclasses import dataclass

from bainboard import pins
from bainwright.core.errors import UseError
from bainwright.core.toml import close_match
from bainwright.files.rig import Rig

EMULATED = "as run in emulation"
DOCUMENTS = "by its documents only"

# A collection takes 5 ms of a nearly empty heap and 28 of one with 172 KB. Of an RP2040, the slowest of these chips.
SWEEP_US, SWEEP_US_PER_KB = 5000, 134
BYTE_US = 40  # reading from the host: 256 bytes take some 10 ms
REQUEST_US = 42_000  # the least that a request took; `change` took 565 ms, a profile's commit 257 to 624


@dataclass(frozen=True)
class Model:
    """A board.

    Attributes
    ----------
    title : str
        What a person calls it.
    kind : str
        Which of `pins.KINDS` it is.
    machine : str
        ``os.uname().machine`` there, from memory.
    heap_kb : int
        Heap that is free when main.py starts.
    known : str
        How this is known.
    doubt : str
        What the played board does better than the real one, as it ends the line.
    """

    title: str
    kind: str
    machine: str
    heap_kb: int
    known: str
    doubt: str = ""

    @property
    def platform(self) -> str:
        """``sys.platform`` there."""
        return "esp32" if self.kind == "esp32" else "rp2"

    def line(self) -> str:
        """What a person reads when it is played."""
        return (f"playing {self.title}: {self.heap_kb} KB of memory ({self.known}), and a Pico's time for "
                f"collections and requests{self.doubt}")  # fmt: skip


MODELS = {
    "pico": Model("Raspberry Pi Pico", "pico", "Raspberry Pi Pico with RP2040", 241, EMULATED),
    "pico_w": Model("Raspberry Pi Pico W", "pico", "Raspberry Pi Pico W with RP2040", 201, EMULATED),
    # 520 KB of memory on the chip (from memory); chosen low, since the interpreter's own share was not measured.
    "pico2": Model("Raspberry Pi Pico 2", "pico2", "Raspberry Pi Pico 2 with RP2350", 400, DOCUMENTS),
    # 168 to 181 KB in two or three pieces: the interpreter's maintainers' figures.
    "esp32": Model("ESP32 without PSRAM", "esp32", "Generic ESP32 module with ESP32", 168, DOCUMENTS,
                   "; a real one has its memory in two or three pieces and is not supported"),
}
USUAL = MODELS["pico_w"]  # whose memory the virtual board has where none is named; it then takes no time to compute


def model_of(name: str | None) -> Model:
    """The board of that name; None: the usual one."""
    return USUAL if name is None else MODELS[name]


def check_rig(rig: Rig, name: str | None) -> None:
    """Refuse to play a board that the rig was not made for.

    Raises
    ------
    UseError
        If there is no such board, or the rig names another kind.
    """
    if name is None:
        return
    if name not in MODELS:
        raise UseError("--board", got=repr(name), wanted="one of " + ", ".join(MODELS), hint=close_match(name, MODELS))
    made_for, kind = rig.settings["board"], MODELS[name].kind
    if made_for not in (pins.ANY, kind):
        fits = [each for each, model in MODELS.items() if model.kind == made_for]
        raise UseError(f"the rig {rig.source} is made for another board", got=f"--board {name}",
                       wanted=f"--board {' or '.join(fits)}, as the rig has it",
                       hint="or leave --board out: then any rig is played")  # fmt: skip
