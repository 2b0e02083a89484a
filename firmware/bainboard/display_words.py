"""The display's words for faults and questions. Loaded when one is to be shown, and dropped again: see heap_reserve."""

# By fault number: what was seen | what to do.
FAULTS = """
|
water probe gives no reading|check its plug and cable
bowl probe gives no reading|check its plug and cable
water probe did not follow|is it in the water?
water warms with the heat off|replace the heater switch
water over this step's limit|hot water in? lift the bowl
water passed the hard limit|still rising? the water scalds
the board was late|rare is fine
nobody here for hours|look at it, then yes
heat came past the open guard|replace the guard relay
heat came past the switch|replace the heater switch
no heat at the start|plug, cut-out, fuse, then start
new, or trip record lost|test the cut-offs
water too hot to start|add cold water
the clock jumped|rare is fine
the firmware met an error|test temper, start again
settings are damaged|send the rig again
warmed from outside|stove? sun? warm bowl?
water probe fell too fast|is it in the water?
bowl probe fell too fast|is its tip in the chocolate?
probes are swapped|change them over
far too little heat|plug, cut-out, fuse, lid?
far too much heat|is the water up to its mark?
the board hung and restarted|test temper, start again
restarts again and again|check its supply
memory ran short|test temper, start again
warms though heater is off|pull the plug; a stove?
the probes disagree|is the probe in the water?
no second water reading|check its plug and cable
more heat than usual|lid? draught? probe in place?
"""

# What is asked, by its key.
ASKED = """
all_melted=all melted? then yes
bowl_off=lift bowl, wipe it dry, then yes
swap=too warm: swap water for cold
seed_in=stir seed in, then yes
cool_down=stir it down to {:g} C, then yes
cooled=it is down to {:g} C? yes
bowl_on=wipe bowl dry, set back, yes
seed_more=too warm: a handful of seed
stir=yes, then stir half a minute
stirring=stir on
move_probe=probe off the wall, then yes
test=dip a blade, then yes
setting=set: yes streaky: no
set_yet=has it set? yes or no
not_set=not set, not in temper: no
more_seed=a handful of seed, then yes
lift=bowl warms: lift it, wipe it
pour=pour refill in, stir, yes
spread=spread what is left, then yes
water_low=WATER LOW unplug, fill, yes
go_on=heat went off: look; on? yes, no
look=water? probes? yes starts
"""


def fault(number: int) -> str:
    """What was seen and what to do, with a bar between them."""
    return FAULTS.split("\n")[number + 1]
