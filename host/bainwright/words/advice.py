"""Advice on a fault for a tired person at midnight: calm, plain, in the order they need it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import astuple, dataclass, replace
from typing import Any

from bainboard import faults, help_text
from bainwright.core.errors import RefusedError
from bainwright.words.plate import for_bath

# Unheated, 2 kg in a steel bowl at 32 °C in a 20 °C room cool 0.18 K/min: computed from 0.93 W/K and 3.5 kJ/K.
_COOLING = "A full bowl cools about one degree in six minutes out of the bath, slower in it."
_TEMPERED = "If it was in temper: stir it, keep it in the warm bath, and test it before you dip again."
_NOT_SPOILT = "Chocolate that cools and sets is not spoilt; it can be melted and tempered again."
_OVER = (
    "Lift the bowl out onto a dry cloth. If it went over its window, assume the temper is lost until a test passes;"
    " the chocolate is still good to melt again unless it smells burnt or turned grainy."
)
_UNPLUG = "Not safe to leave. Pull the plug now; do not put a hand in the water before that."
_SAFE = "Safe. The heat is off. You can leave it like this until you come."
_UNSURE = "The heat is off. Look whether the water still rises: if it does, pull the plug."
_ALONE = (
    "It is still holding, but only the water's own probe guards the heat now: measure the water by a hand thermometer."
)


@dataclass(frozen=True)
class Advice:
    """What to say about one fault.

    Parameters
    ----------
    seen : str
        What the warmer saw, one sentence.
    did : str
        What it did about it.
    safety : str
        Whether it may be left or must be unplugged.
    chocolate : str
        What to do with the chocolate meanwhile.
    first : str
        What to check first, and how to resume.
    """

    seen: str
    did: str
    safety: str
    chocolate: str
    first: str

    def lines(self) -> list[str]:
        """The advice in reading order, empty parts left out."""
        return [part for part in (self.seen, self.did, self.safety, self.chocolate, self.first) if part]


_WHAT_HELPS = (
    "Is the bowl off, or its probe out of the chocolate? Set it back: heat comes back with it. Put the lid back and"
    " close the window. Look whether the water probe hangs in the water, and measure the water with a hand thermometer:"
    " if it is warmer than shown, stop and replace the probe."
)
_WARNED = ("So far this is a warning: the warmer keeps holding, and switches off by itself if it does not stop. Look "
           "at it soon.")
_LATCHED = "It switched off, opened the guard relay, and stays off until its recessed button is held for 3 seconds."
_NOT_STARTED = "It did not start."

ADVICE: dict[int, Advice] = {
    faults.NONE: Advice("Nothing is wrong.", "", "", "", ""),
    faults.WATER_PROBE: Advice(
        "The water probe stopped giving readings that make sense.",
        _LATCHED,
        _SAFE,
        f"{_COOLING} {_TEMPERED}",
        "Check the probe's plug, then its cable for a nick or water inside. Clear the trip once it reads again.",
    ),
    faults.BOWL_PROBE: Advice(
        "The chocolate probe stopped giving readings that make sense.",
        "It holds by the water alone; the bowl's temperature is now an estimate.",
        _ALONE,
        "Check the chocolate with a hand thermometer now and then.",
        "Check the probe's plug, and that its tip is in the chocolate. It is used again as soon as it reads.",
    ),
    faults.WATER_STUCK: Advice(
        "Heat was given in small steps, and the water probe did not follow them.",
        _LATCHED,
        "Unplug it before you reach in: the water may be hotter than shown.",
        _OVER,
        "Look whether the probe hangs in the water. If it does, warm it in your hand: if the reading does not change,"
        " the probe is dead. If it changes, look at the heater's plug, fuse and cut-out. Clear the trip with the probe"
        " in place.",
    ),
    faults.HEAT_AT_REST: Advice(
        "The water kept getting warmer with the heater switched off, and only the guard relay stopped it.",
        _LATCHED,
        _UNPLUG,
        _OVER,
        "The heater switch has failed closed. Leave it unplugged until the switch is replaced; the relay that saved"
        " the batch must be tested as well.",
    ),
    faults.OVER_STAGE: Advice(
        "The water stayed over the limit of this step for longer than it should.",
        "It keeps the heat off until the water is back under the limit; then it resumes by itself.",
        "Safe. Nothing is heating.",
        "Lift the bowl out until the water has cooled, and test the temper before you dip again.",
        "Did hot water go in? A glass of cold water brings it down. If nobody touched it, watch it for some minutes.",
    ),
    faults.OVER_HARD_LIMIT: Advice(
        "The water passed the hard limit.",
        _LATCHED,
        _UNPLUG,
        _OVER,
        "Is it still getting hotter? Then the switch and the guard relay have both failed: leave it unplugged. If it"
        " cools, find what heated it before you clear the trip. The water scalds.",
    ),
    faults.LATE_LOOP: Advice(
        "The board was busy and reacted late.",
        "It switched the heat off for that second.",
        "Safe. It is still holding.",
        "",
        "Nothing to do when it is rare. If it comes every few minutes, stop the hold and collect the log.",
    ),
    faults.RUN_TIMER: Advice(
        "Nobody has been at the warmer for as long as the run timer allows.",
        "It switched the heat off and waits.",
        _SAFE,
        f"{_NOT_SPOILT} In the bath it cools slowly: look at it before anything else.",
        "Press yes to resume heating, or stop the hold.",
    ),
    faults.GUARD_WELDED: Advice(
        "Before the start, heat came through the guard relay while it was open.",
        _NOT_STARTED,
        _UNPLUG,
        f"Keep the bowl warm some other way. {_COOLING}",
        "The guard relay's contacts have welded. Replace it; a relay that welds was switched under too much current.",
    ),
    faults.SWITCH_SHORTED: Advice(
        "Before the start, heat came through the heater switch while it was off.",
        _NOT_STARTED,
        _UNPLUG,
        f"Keep the bowl warm some other way. {_COOLING}",
        "The heater switch has failed closed. Replace it, and check that its rating and cooling suit the heater.",
    ),
    faults.NO_HEAT_AT_START: Advice(
        "The start pulse did not warm the water.",
        _NOT_STARTED,
        "Safe. Nothing is heating.",
        f"Keep the bowl warm some other way. {_COOLING}",
        "Check in this order: the heater's plug and own switch, the cut-out's reset button, the fuse, the thermal fuse;"
        " then whether the probe and the heater are in the same water. Find why a cut-out opened before you reset it.",
    ),
    faults.NO_LATCH_RECORD: Advice(
        "This board has no record of whether it had tripped: it is new, or its memory was lost.",
        "It treats that as a trip and stays off until its recessed button is held for 3 seconds.",
        "Safe. Nothing is heating.",
        "",
        "On a first start, test trips and cut-outs, then hold the button. If it was in use before, look for its last"
        " log.",
    ),
    faults.HOT_BEFORE_START: Advice(
        "The water is too near the hard limit to start heating.",
        _NOT_STARTED,
        "Safe, but the water scalds.",
        "Leave the bowl out until the water is below the chocolate's own limit.",
        "Add cold water, then start again.",
    ),
    faults.BAD_CLOCK: Advice(
        "The board's clock jumped.",
        "It switched the heat off for that second.",
        "Safe. It is still holding.",
        "",
        "Nothing to do when it is rare. If it comes back, replace the board.",
    ),
    faults.CRASHED: Advice(
        "The firmware failed with an error.",
        "It switched the heater off, opened the guard relay and restarted.",
        _SAFE,
        f"{_COOLING} {_TEMPERED}",
        "Start the hold again if the chocolate needs it. Fetch the file crash.txt from the board and report it.",
    ),
    faults.BAD_SETTINGS: Advice(
        "The settings or the chocolate that the warmer had stored are damaged, or not for this board.",
        "It fell back to safe defaults and gives no heat.",
        _SAFE,
        f"Keep the bowl warm some other way. {_COOLING}",
        "Send them again: bain rig check RIG finds what is wrong with them, bain rig send RIG sends them.",
    ),
    faults.HEAT_FROM_OUTSIDE: Advice(
        "The water is getting warmer, and not by this heater: it kept rising with the guard relay open.",
        "It keeps holding, and watches.",
        "Safe as far as the warmer goes.",
        "If the bowl nears the top of its window, lift it out.",
        "Look for a stove plate that is on, sun on the pot, or a bowl set in warmer than the water.",
    ),
    faults.PROBE_OUT: Advice(
        "The water probe cooled faster than any bath does, and heat did not warm it again.",
        _LATCHED,
        "Unplug it before you reach in: the water may be hotter than shown.",
        _OVER,
        "Look whether the probe hangs in the water, deep enough for a lifted bowl or a low level."
        " Put it back, then clear"
        " the trip.",
    ),
    faults.BOWL_OUT: Advice(
        "The chocolate probe cooled faster than any bowl does.",
        "It assumes that the probe is out of the chocolate and holds by the water alone; the bowl is now an estimate.",
        _ALONE,
        "Check the chocolate with a hand thermometer if the probe is where it belongs.",
        "Put the probe's tip back into the chocolate, away from the wall. It is used again when it reads as before.",
    ),
    faults.SWAPPED: Advice(
        "The start pulse warmed the chocolate probe before the water probe.",
        _NOT_STARTED,
        "Safe. Nothing is heating.",
        f"Keep the bowl warm some other way. {_COOLING}",
        "The two probes hang in each other's place, or their plugs do. Swap them, then start again.",
    ),
    faults.HEATER_LOST: Advice(
        "Far less heat reached the water than was given.",
        "It switched off, opened the guard relay and tested the heater again. If that passed, it resumes; if not, it"
        " stays off until its recessed button is held for 3 seconds.",
        "Safe. What heat there is stays under control.",
        f"{_COOLING} {_TEMPERED}",
        "Was something cold set in? Then nothing is wrong. Otherwise: the heater's plug and own"
        " switch, the cut-out, the"
        " fuse; a lid would help a warmer that only loses too much.",
    ),
    faults.STRONG_HEATER: Advice(
        "The water warmed far faster than its heat explains.",
        "If it was only faster than the settings say, it says so and keeps heating. Faster still, it switched off,"
        " opened the guard relay and tested again. If that passed, it resumes; if not, it stays off until its"
        " recessed button is held for 3 seconds.",
        "Unplug it if the water is low: a heater that runs dry burns. If you have just poured hot water, all is well.",
        _OVER,
        "Look whether the water is up to its mark, the heater is the one whose watts were set, and"
        " no hot water went in.",
    ),
    faults.RESTARTED: Advice(
        "The board stopped answering, and its watchdog restarted it.",
        "The heater went off, the guard relay opened, and it waits for you.",
        _SAFE,
        f"{_COOLING} {_TEMPERED}",
        "Start the hold again if the chocolate needs it. If it comes back, collect the log and"
        " look at the board's supply.",
    ),
    faults.REBOOT_LOOP: Advice(
        "The board restarted itself three times with hardly any time between.",
        _LATCHED,
        "Safe. Nothing is heating.",
        f"{_COOLING} {_TEMPERED}",
        "A weak supply or a loose plug does this, or an error in the firmware: fetch crash.txt and the log before you"
        " clear the trip.",
    ),
    faults.MEMORY: Advice(
        "The board ran short of memory.",
        "It switched the heater off, opened the guard relay and restarted.",
        _SAFE,
        f"{_COOLING} {_TEMPERED}",
        "Start the hold again if the chocolate needs it. Fetch the file crash.txt from the board and report it.",
    ),
    faults.UNASKED_HEAT: Advice(
        "The water gets warmer although the heater is switched off and the guard relay is open.",
        "It can do no more: this heat does not come through anything it can switch.",
        _UNPLUG,
        _OVER,
        "With the plug out, look for a stove plate that is on. If there is none, the heater switch and the guard relay"
        " have both failed: replace both, and run bain drill before the next hold.",
    ),
    faults.DISAGREE: Advice(
        "Two probes contradict each other: the water is warmer than the water probe reads, or a probe is wrong.",
        _LATCHED,
        "The heat is off. The water may be hotter than shown: if it gets hotter, pull the plug.",
        _OVER,
        "Look whether each probe is where it belongs. Then hold both in one cup of warm water: if they differ by more"
        " than a degree, replace the one that a hand thermometer does not agree with.",
    ),
    faults.SECOND_PROBE: Advice(
        "The second water probe stopped giving readings that make sense.",
        "It uses the first one alone.",
        _ALONE,
        "",
        "Check the probe's plug, then its cable. It is used again as soon as it reads.",
    ),
    faults.HEAT_CAPPED: Advice(
        "The water took more heat than this warmer usually needs, and no chocolate probe in a bowl in its bath shows"
        " how warm it is.",
        "It holds heat back until that much has left again.",
        "The heat is off for now.",
        _COOLING,
        _WHAT_HELPS,
    ),
}


def advise(fault: int, bath: str = "water", *, sure: bool = True) -> Advice:
    """The advice for a fault number of the board.

    Parameters
    ----------
    fault : int
        A number of `bainboard.faults`; one this version does not know reads as a crash.
    bath : str
        What is under the bowl: ``water`` or ``plate``.
    sure : bool
        It is known that the water does not rise with the heat off: only then is anything called safe.

    Returns
    -------
    Advice
    """
    found = ADVICE.get(fault, ADVICE[faults.CRASHED])
    if not sure and found.safety.startswith("Safe"):
        found = replace(found, safety=_UNSURE)
    return Advice(*(for_bath(text, bath) for text in astuple(found)))


def warned(fault: int, bath: str = "water") -> list[str]:
    """What to say about a warning of this number: what was seen. What it did and what to do then hold for a fault that
    cuts the heat or latches; those that the board only ever warns of have their whole advice.
    """
    advice = advise(fault, bath)
    return advice.lines() if faults.row(fault)[faults.REACTION] == faults.WARN else [advice.seen, _WARNED]


def heat_waits(bath: str = "water") -> str:
    """What there is to do while a warmer waits with its heat, for one line."""
    return for_bath(f"the warmer holds its heat back. {_WHAT_HELPS.removesuffix('.')}", bath)


def at_rest(hello: Mapping[str, Any] | None) -> str:
    """What an idle warmer reports that is a reason to unplug it, and what to do; mostly empty.

    Parameters
    ----------
    hello : mapping or None
        The board's answer to hello, if it gave one.
    """
    number = (hello or {}).get("fault", faults.NONE)
    states = {"idle": "the warmer rests", "trip": "the warmer has tripped"}
    if hello is None or hello.get("state") not in states or faults.row(number)[faults.HAZARD] != faults.UNPLUG:
        return ""
    return f"{states[hello['state']]} and reports: {help_text.FAULTS[number][0]}. {advise(number).safety}"


def refuse_heat_at_rest(hello: Mapping[str, Any], bath: str = "water") -> None:
    """Refuse what would make a resting warmer forget that its water warms although all is off.

    Parameters
    ----------
    hello : mapping
        The board's answer to hello.
    bath : str
        What is under the bowl: ``water`` or ``plate``.

    Raises
    ------
    RefusedError
        With what to do. A fault of a start's self-test is none: the next start tests again.
    """
    if (danger := at_rest(hello)) and faults.row(hello["fault"])[faults.REACTION] == faults.OFF:
        raise RefusedError(danger, hint=f"{advise(hello['fault'], bath).first} It goes on once the water has cooled "
                           "for half an hour")
