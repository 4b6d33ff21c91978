"""A small machine that has everything a review asks about: faults, a procedure, a time, a trip, a hazard that is met."""

MIXER = """
machine: A mixer with a lid
revision: A
parts:
  lid: [shut, open]
  paddle: [still, turning]
sensors:
  lid_shut: lid = shut
  lid_shut_too: lid = shut
  paddle_still: paddle = still
outputs:
  motor: ["off", run]
timers:
  rest: {kind: TON, in: motor = off, pt: 2 s}
commands:
  start: {permissives: {the lid is shut: lid_shut AND lid_shut_too, it has rested: rest.Q}, then: {motor: run}}
  stop:  {then: {motor: "off"}}
trips:
  lid opened: {when: NOT lid_shut OR NOT lid_shut_too, then: {motor: "off"}}
plant:
  it speeds up:  {when: motor = run AND paddle = still, after: 1 s, then: {paddle: turning}}
  it runs down:  {when: motor = off AND paddle = turning, after: 1..2 s, then: {paddle: still}}
people:
  open the lid: {if: lid = shut, then: {lid: open}}
  shut the lid: {if: lid = open, then: {lid: shut}}
faults:
  lid switch stuck: {sensor: lid_shut, stuck: TRUE}
  motor welded:     {output: motor, stuck: run}
  other lid switch stuck: {sensor: lid_shut_too, stuck: TRUE}
hazards:
  H1:
    text: Nobody reaches into the paddle
    must not be: lid = open AND paddle = turning
    risk: {severity: S2, exposure: F1, avoidance: P2}
  H2:
    text: The motor does not run with the lid open
    must not be: lid = open AND motor = run
    risk: {severity: S2, exposure: F1, avoidance: P1}
requirements:
  R1: {text: It can turn, reachable: paddle = turning}
  R2: {text: It comes to rest, when: motor = off, within: 3 s, then: paddle = still, unless: motor = run}
procedures:
  mix:
    steps: [{wait: 2 s}, start, {until: paddle = turning}, stop, {until: paddle = still}, open the lid, shut the lid]
    ends with: paddle = still
"""

SOUND = MIXER.replace(
    "{if: lid = shut, then: {lid: open}}", "{if: lid = shut AND paddle = still AND motor = off, then: {lid: open}}"
)
"""The same, with a lid that cannot be opened while it turns: no hazard is met without faults."""
