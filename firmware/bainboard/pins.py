"""Pin maps of the boards. Imports nothing. What a pin can do, and moving one, is in `pin_check`."""

# Chosen: heater, guard and heartbeat on neighbouring pads, nothing on a strapping or boot-log pin but a chip
# select, which idles high as such a pin must. GPIO numbers.
RP2 = {
    "heater": 15, "guard": 14, "heartbeat": 13,
    "float": 12, "onewire": 16, "adc_water": 26, "adc_bowl": 27,
    "yes": 10, "no": 11,
    "lamp_below": 18, "lamp_in": 19, "lamp_above": 20, "buzzer": 21,
    "sda": 4, "scl": 5,
    "sck": 2, "mosi": 3, "miso": 0, "cs_water": 1, "cs_bowl": 6,
}
ESP32 = {
    "heater": 25, "guard": 26, "heartbeat": 27,
    "float": 39, "onewire": 4, "adc_water": 34, "adc_bowl": 35,
    "yes": 18, "no": 19,
    "lamp_below": 21, "lamp_in": 22, "lamp_above": 23, "buzzer": 13,
    "sda": 16, "scl": 17,
    "sck": 14, "mosi": 32, "miso": 36, "cs_water": 33, "cs_bowl": 5,
}


ANY = "any"  # in a rig that moves no pin: whatever board it is, its own map
KINDS = ("pico", "pico2", "esp32")  # Raspberry Pi Pico and Pico 2, wireless or not; ESP32 with a WROOM-32 module


def kind_of(platform: str, machine: str) -> str:
    """The kind of board, by sys.platform and by what the interpreter calls the machine."""
    if platform == "esp32":
        return "esp32"
    return "pico2" if "RP2350" in machine else "pico"


def for_platform(platform: str) -> dict:
    """The map of this interpreter's platform (sys.platform), or of a kind of board."""
    return ESP32 if platform == "esp32" else RP2
