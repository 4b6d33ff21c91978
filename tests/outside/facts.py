"""A separator's controller built from facts of the trade, each with what enforces it and what its loss must break.

The facts are common practice, no source: oil circulates 10-15 s before the rotor starts; the working speed of 70 Hz is reached
before feed; clean-out runs at 15 Hz for 30 s; the rotor has fully stopped before the oil pump stops and before the cover
unlocks; about 750 L/h flow with the bypass shut, half of it with the valve at half; an assembly gap is at most 11 mm.
All other numbers (run-up and run-down times, the gap of 12 mm) are invented. `stopwatch` measures for the hazard only.
"""

from dataclasses import dataclass

MACHINE = """
machine: A separator after facts of the trade
tick: 5 s
parts:
  oil: [still, circulating]
  bearings: [dry, oiled]
  speed_hz: {range: 0..70}
  cover: [shut, open]
  gap_mm: {range: 11..12}
  bypass: [shut, half]
  slow_run: [never, running, cut_short, finished]
outputs:
  oil_pump: [off, running]
  drive: [off, slow, fast]
  cover_lock: [engaged, released]
  feed: [off, running]
  flow_l_per_h: {range: 0..750}
memory:
  mode: [separate, clean_out]
sensors:
  oil_flows: oil = circulating
  frequency_hz: speed_hz
  cover_shut: cover = shut
  gap_read_mm: gap_mm
  bypass_shut: bypass = shut
timers:
  oil_has_run: {kind: TON, in: oil_flows, pt: 15 s}
  slow_has_run: {kind: TON, in: drive = slow AND frequency_hz = 15, pt: 30 s}
  stopwatch: {kind: TON, in: drive = slow AND frequency_hz = 15, pt: 30 s}
commands:
  start the oil pump:
    then: {oil_pump: running}
  stop the oil pump:
    permissives:
      drive is off: drive = off
      rotor stands before the oil stops: frequency_hz = 0
    then: {oil_pump: off}
  engage the cover lock:
    permissives:
      cover is shut: cover_shut
    then: {cover_lock: engaged}
  release the cover lock:
    permissives:
      drive is off for the lock: drive = off
      rotor stands before the cover unlocks: frequency_hz = 0
    then: {cover_lock: released}
  select separating:
    permissives:
      rotor is not driven for separating: drive = off
      rotor stands before separating: frequency_hz = 0
    then: {mode: separate}
  select clean-out:
    permissives:
      rotor is not driven for clean-out: drive = off
      rotor stands before clean-out: frequency_hz = 0
    then: {mode: clean_out}
  start the fast run:
    permissives:
      oil has run before the fast run: oil_has_run.Q
      cover is shut for the fast run: cover_shut
      cover is locked for the fast run: cover_lock = engaged
      gap is right for the fast run: gap_read_mm <= 11
      drive is off for the fast run: drive = off
      mode is separating: mode = separate
      rotor stands for the fast run: frequency_hz = 0
    then: {drive: fast}
  stop the fast run:
    permissives:
      run is fast: drive = fast
      feed has stopped: feed = off
    then: {drive: off}
  start the slow run:
    permissives:
      oil has run before the slow run: oil_has_run.Q
      cover is shut for the slow run: cover_shut
      cover is locked for the slow run: cover_lock = engaged
      gap is right for the slow run: gap_read_mm <= 11
      drive is off for the slow run: drive = off
      mode is clean-out: mode = clean_out
      rotor stands for the slow run: frequency_hz = 0
    then: {drive: slow}
  stop the slow run:
    permissives:
      run is slow: drive = slow
      slow run has lasted: slow_has_run.Q
    then: {drive: off}
  start the feed:
    permissives:
      run is fast for the feed: drive = fast
      working speed is reached: frequency_hz = 70
    then: {feed: running}
  stop the feed:
    then: {feed: off}
trips:
  no feed no flow: {when: feed = off, then: {flow_l_per_h: 0}}
  full flow:
    when: feed = running AND bypass_shut
    then: {flow_l_per_h: 750}
  half flow:
    when: feed = running AND NOT bypass_shut
    then: {flow_l_per_h: 750 / 2}
plant:
  oil starts: {when: oil_pump = running AND oil = still, after: at once, then: {oil: circulating}}
  oil stops: {when: oil_pump = off AND oil = circulating, after: at once, then: {oil: still}}
  oil reaches the bearings: {when: oil = circulating AND bearings = dry, after: 10 s, then: {bearings: oiled}}
  bearings run dry: {when: oil = still AND speed_hz = 0 AND bearings = oiled, after: at once, then: {bearings: dry}}
  rotor reaches 15 Hz: {when: drive = slow AND speed_hz = 0, after: 5..10 s, then: {speed_hz: 15}}
  rotor passes 15 Hz: {when: drive = fast AND speed_hz = 0, after: 5..10 s, then: {speed_hz: 15}}
  rotor reaches 70 Hz: {when: drive = fast AND speed_hz = 15, after: 10..15 s, then: {speed_hz: 70}}
  rotor slows down to 15 Hz: {when: drive <> fast AND speed_hz = 70, after: 10..20 s, then: {speed_hz: 15}}
  rotor comes to rest: {when: drive = off AND speed_hz = 15, after: 5..10 s, then: {speed_hz: 0}}
  slow run begins:
    when: drive = slow AND speed_hz = 15 AND slow_run <> running AND slow_run <> finished
    after: at once
    then: {slow_run: running}
  slow run is long enough: {when: slow_run = running AND stopwatch.Q, after: at once, then: {slow_run: finished}}
  slow run is cut short: {when: slow_run = running AND drive <> slow, after: at once, then: {slow_run: cut_short}}
  slow run is forgotten: {when: slow_run = finished AND drive = off, after: at once, then: {slow_run: never}}
people:
  open the cover: {if: cover = shut AND cover_lock = released, then: {cover: open}}
  shut the cover: {if: cover = open, then: {cover: shut}}
  assemble with 12 mm: {if: cover = open AND speed_hz = 0, then: {gap_mm: 12}}
  assemble with 11 mm: {if: cover = open AND speed_hz = 0, then: {gap_mm: 11}}
  set the bypass to half: {if: bypass = shut, then: {bypass: half}}
  shut the bypass: {if: bypass = half, then: {bypass: shut}}
hazards:
  OIL_FIRST: {text: Rotor turns on bearings that oil has not reached, must not be: speed_hz > 0 AND bearings = dry}
  OIL_LAST: {text: Oil stopped while the rotor turns, must not be: speed_hz > 0 AND oil = still}
  SPEED_FIRST: {text: Feed below the working speed, must not be: feed = running AND speed_hz <> 70}
  SLOW_ENOUGH: {text: Fast rotor in clean-out, must not be: mode = clean_out AND speed_hz = 70}
  LONG_ENOUGH: {text: Clean-out shorter than 30 s, must not be: slow_run = cut_short}
  STANDS_FIRST: {text: Cover open while the rotor turns, must not be: cover = open AND speed_hz > 0}
  GAP: {text: Rotor turns with a gap of more than 11 mm, must not be: gap_mm > 11 AND speed_hz > 0}
  FULL_FLOW: {text: Bypass shut and not 750 L/h, must not be: feed = running AND bypass = shut AND flow_l_per_h <> 750}
  HALF_FLOW: {text: Bypass at half and not 375 L/h, must not be: feed = running AND bypass = half AND flow_l_per_h <> 375}
requirements:
  works: {reachable: flow_l_per_h = 750}
  works_at_half: {reachable: flow_l_per_h = 375}
  cleans: {reachable: slow_run = finished}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """A fact, the line that enforces it, what replaces that line (nothing: it is left out) and the hazards that must follow."""

    fact: str
    line: str
    instead: str = ""
    hazards: frozenset[str]


LOSSES = (
    Loss(fact="oil circulates before the rotor starts (fast run)",
         line="      oil has run before the fast run: oil_has_run.Q\n", hazards=frozenset({"OIL_FIRST", "OIL_LAST"})),
    Loss(fact="oil circulates before the rotor starts (slow run)",
         line="      oil has run before the slow run: oil_has_run.Q\n", hazards=frozenset({"OIL_FIRST", "OIL_LAST"})),
    Loss(fact="oil circulates for 10-15 s, not 5 s", line="in: oil_flows, pt: 15 s", instead="in: oil_flows, pt: 5 s",
         hazards=frozenset({"OIL_FIRST"})),
    Loss(fact="70 Hz is reached before feed", line="      working speed is reached: frequency_hz = 70\n",
         hazards=frozenset({"SPEED_FIRST"})),
    Loss(fact="feed stops before the rotor leaves 70 Hz", line="      feed has stopped: feed = off\n",
         hazards=frozenset({"SPEED_FIRST"})),
    Loss(fact="clean-out at 15 Hz: the mode decides the speed", line="      mode is separating: mode = separate\n",
         hazards=frozenset({"SLOW_ENOUGH"})),
    Loss(fact="clean-out for 30 s", line="      slow run has lasted: slow_has_run.Q\n", hazards=frozenset({"LONG_ENOUGH"})),
    Loss(fact="clean-out for 30 s, not 25 s", line="slow_has_run: {kind: TON, in: drive = slow AND frequency_hz = 15, pt: 30 s",
         instead="slow_has_run: {kind: TON, in: drive = slow AND frequency_hz = 15, pt: 25 s",
         hazards=frozenset({"LONG_ENOUGH"})),
    Loss(fact="rotor stopped before the oil pump stops",
         line="      rotor stands before the oil stops: frequency_hz = 0\n", hazards=frozenset({"OIL_LAST"})),
    Loss(fact="rotor stopped before the cover unlocks",
         line="      rotor stands before the cover unlocks: frequency_hz = 0\n", hazards=frozenset({"STANDS_FIRST"})),
    Loss(fact="gap of at most 11 mm (fast run)", line="      gap is right for the fast run: gap_read_mm <= 11\n",
         hazards=frozenset({"GAP"})),
    Loss(fact="gap of at most 11 mm, not 12 mm (slow run)",
         line="      gap is right for the slow run: gap_read_mm <= 11\n",
         instead="      gap is right for the slow run: gap_read_mm <= 12\n", hazards=frozenset({"GAP"})),
    Loss(fact="750 L/h with the bypass shut", line="    then: {flow_l_per_h: 750}\n", instead="    then: {flow_l_per_h: 700}\n",
         hazards=frozenset({"FULL_FLOW"})),
    Loss(fact="half of 750 L/h with the valve at half", line="    then: {flow_l_per_h: 750 / 2}\n",
         instead="    then: {flow_l_per_h: 750}\n", hazards=frozenset({"HALF_FLOW"})),
)  # fmt: skip


def without(loss: Loss) -> str:
    """Return the machine with one enforcement lost; the line must stand in it exactly once."""
    assert MACHINE.count(loss.line) == 1, loss
    return MACHINE.replace(loss.line, loss.instead)
