"""A hand-loaded press with derived faults, small enough to be searched many times."""

PRESS = """
machine: Hand-loaded press
tick: 500 ms
parts:
  ram:  {states: [top, moving_down, bottom, moving_up]}
  gate: {states: [shut, open]}
panel:
  estop: {states: [released, pressed]}
sensors:
  gate_shut: gate = shut
  at_top:    ram = top
  at_bottom: ram = bottom
outputs:
  drive:     {states: [off, down, up], unpowered: off}
  gate_lock: {states: [engaged, released], unpowered: engaged}
memory:
  ready: {states: [no, yes], retained: FALSE}
timers:
  settled: {kind: TON, in: gate_shut, pt: 1 s}
commands:
  reset: {permissives: {emergency stop is released: estop = released}, then: {ready: yes}}
  start the stroke:
    permissives:
      machine is ready: ready = yes
      gate has been shut for a second: settled.Q
      ram is at the top: at_top
    then: {drive: down, gate_lock: engaged}
  release the gate:
    permissives: {ram is at the top: at_top, drive is off: drive = off}
    then: {gate_lock: released}
trips:
  emergency stop: {when: estop = pressed, then: {drive: off, ready: no}}
  gate opened:    {when: NOT gate_shut, then: {drive: off}}
  return:         {when: at_bottom AND drive = down, then: {drive: up}}
  stroke done:    {when: at_top AND drive = up, then: {drive: off}}
plant:
  ram starts down: {when: drive = down AND ram = top, after: at once, then: {ram: moving_down}}
  ram lands:       {when: ram = moving_down, after: 1..2 s, then: {ram: bottom}}
  ram rises:       {when: drive = up AND ram = bottom, after: 500 ms, then: {ram: moving_up}}
  ram is back:     {when: ram = moving_up AND drive = up, after: 1..2 s, then: {ram: top}}
people:
  open the gate: {if: gate = shut AND gate_lock = released, then: {gate: open}}
  shut the gate: {if: gate = open, then: {gate: shut}}
faults:
  DERIVE
  gate switch stuck shut: {sensor: gate_shut, stuck: TRUE}
  drive fails to stop:    {output: drive, stuck: down}
  air pressure lost:      {if: ram <> top, then: {ram: moving_down}}
hazards:
  H1: {text: Gate open while the ram moves, must not be: gate = open AND (ram = moving_down OR ram = moving_up),
       risk: {severity: S2, exposure: F2, avoidance: P2}}
requirements:
  R1: {text: It can make a part,      reachable: ram = bottom}
  R2: {text: It can always be freed,  recoverable: ram = top AND gate = open}
  R3: {text: Comes to rest in time,   when: estop = pressed, within: 2 s, then: ram <> moving_down}
  R4: {text: Lock before the stroke,  before: ram = moving_down, first: gate_lock = engaged, since: gate_lock = released}
  R5: {text: No reset while pressed,  forbid: reset, while: estop = pressed}
  R6: {text: Only a start starts it,  only: [start the stroke], makes: drive = down}
"""
OWN = PRESS.replace("  DERIVE\n", "")
SOME_DERIVED = PRESS.replace("DERIVE", "derive: [outputs, power]")
DERIVED = PRESS.replace("DERIVE", "derive: [sensors, outputs, power, restart, timers]")
