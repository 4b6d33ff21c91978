"""Writes the sequence file of a line of n small separators as a controls engineer would: the second family.

Panel, sensors, permissives, trips, timers and intervals, so that settling and clocks are paid for. The copies share the mode
selector. Each has a guarded rotor that needs oil, and no standstill sensor: the run-down is proved by time.

Known answers (one copy: the definition searched with networkx, the plain engine and the C rival agree; more: the C rival):

| copies | mistake | states | transitions | verdicts |
|---|---|---|---|---|
| 1 | no | 3,945 | 25,315 | all hold |
| 1 | yes | 11,065 | 84,019 | `open_turning1` in 11 steps |
| 2 | no | 7,776,911 | 85,613,931 | all hold |
| 2 | yes | 40,860 within 11 steps | 297,478 | `open_turning1` and `open_turning2` in 11 steps |
| 4 | yes | 4,675,346 within 11 steps | 46,485,790 | each `open_turning` in 11 steps |

The mistake: the command that releases the cover forgets to wait for the run-down. Every number in the machine is invented.
"""

from collections.abc import Iterator

from tests.outside.puzzles import written

PARTS = """\
  rotor{i}: {{states: [standstill, slow, full]}}
  oil{i}:   {{states: [still, flowing]}}
  cover{i}: {{states: [open, shut]}}
  guard{i}: {{states: [away, fitted]}}
  hatch{i}: {{states: [shut, open]}}"""
PANEL = """\
  estop{i}: {{states: [pressed, released]}}"""
SENSORS = """\
  oil_flows{i}:    oil{i} = flowing
  cover_shut{i}:   cover{i} = shut
  guard_fitted{i}: guard{i} = fitted
  hatch_shut{i}:   hatch{i} = shut
  at_speed{i}:     rotor{i} = full"""
OUTPUTS = """\
  drive{i}: {{states: [off, slow, full]}}
  pump{i}:  {{states: [off, on]}}
  feed{i}:  {{states: [shut, open]}}
  lock{i}:  {{states: [released, engaged]}}"""
MEMORY = """\
  ready{i}: {{states: [no, yes]}}"""
TIMERS = """\
  oil_there{i}: {{kind: TON, in: oil_flows{i}, pt: 10 s}}
  run_down{i}:  {{kind: TOF, in: drive{i} <> off, pt: 40 s}}"""
COMMANDS = """\
  reset {i}:
    permissives:
      emergency stop {i} is released: estop{i} = released
      hatch {i} is shut: hatch_shut{i}
    then: {{ready{i}: yes}}
  start the pump {i}:
    permissives: {{machine {i} is reset for oil: ready{i} = yes}}
    then: {{pump{i}: on}}
  stop the pump {i}:
    permissives: {{rotor {i} has had time to run down for the pump: NOT run_down{i}.Q}}
    then: {{pump{i}: off}}
  separate {i}:
    permissives:
      machine {i} is reset to separate: ready{i} = yes
      the selector is at work for {i}: mode = work
      oil has flowed for 10 seconds before {i} separates: oil_there{i}.Q
      cover {i} is shut and locked to separate: cover_shut{i} AND lock{i} = engaged
    then: {{drive{i}: full}}
  clean out {i}:
    permissives:
      machine {i} is reset to clean out: ready{i} = yes
      the selector is at clean-out for {i}: mode = clean_out
      oil has flowed for 10 seconds before {i} is cleaned: oil_there{i}.Q
      cover {i} is shut and locked to clean out: cover_shut{i} AND lock{i} = engaged
      guard {i} is fitted: guard_fitted{i}
    then: {{drive{i}: slow}}
  open the feed {i}:
    permissives: {{rotor {i} is driven at full speed: drive{i} = full AND at_speed{i}}}
    then: {{feed{i}: open}}
  shut the feed {i}:
    then: {{feed{i}: shut}}
  stop {i}:
    then: {{drive{i}: off}}
  release the cover {i}:
    permissives:
      drive {i} is off: drive{i} = off{proof}
    then: {{lock{i}: released}}
  lock the cover {i}:
    permissives: {{cover {i} is there to lock: cover_shut{i}}}
    then: {{lock{i}: engaged}}"""
PROOF = """
      rotor {i} has had time to run down for the cover: NOT run_down{i}.Q"""
TRIPS = """\
  emergency stop {i}: {{when: estop{i} = pressed, then: {{drive{i}: off, ready{i}: no}}}}
  hatch opened {i}: {{when: NOT hatch_shut{i}, then: {{drive{i}: off, ready{i}: no}}}}
  oil lost {i}: {{when: drive{i} <> off AND NOT oil_flows{i}, then: {{drive{i}: off, ready{i}: no}}}}
  guard lost {i}: {{when: drive{i} = slow AND NOT guard_fitted{i}, then: {{drive{i}: off}}}}
  wrong mode {i}: {{when: drive{i} = full AND mode = clean_out OR drive{i} = slow AND mode = work, then: {{drive{i}: off}}}}
  feed needs speed {i}: {{when: feed{i} = open AND (drive{i} <> full OR NOT at_speed{i}), then: {{feed{i}: shut}}}}"""
PLANT = """\
  oil {i} begins to flow: {{when: pump{i} = on AND oil{i} = still, after: 0..5 s, then: {{oil{i}: flowing}}}}
  oil {i} is held up: {{when: pump{i} = on AND oil{i} = flowing, then: {{oil{i}: still}}}}
  oil {i} comes to rest: {{when: pump{i} = off AND oil{i} = flowing, after: at once, then: {{oil{i}: still}}}}
  rotor {i} begins to turn: {{when: drive{i} <> off AND rotor{i} = standstill, after: 0..5 s, then: {{rotor{i}: slow}}}}
  rotor {i} comes to speed: {{when: drive{i} = full AND rotor{i} = slow, after: 10..20 s, then: {{rotor{i}: full}}}}
  rotor {i} loses speed: {{when: drive{i} <> full AND rotor{i} = full, after: 10..15 s, then: {{rotor{i}: slow}}}}
  rotor {i} stands still: {{when: drive{i} = off AND rotor{i} = slow, after: 15..20 s, then: {{rotor{i}: standstill}}}}"""
PEOPLE = """\
  lift cover {i}: {{if: cover{i} = shut AND lock{i} = released, then: {{cover{i}: open}}}}
  shut cover {i}: {{if: cover{i} = open, then: {{cover{i}: shut}}}}
  fit guard {i}: {{if: guard{i} = away, then: {{guard{i}: fitted}}}}
  take guard {i}: {{if: guard{i} = fitted, then: {{guard{i}: away}}}}
  open hatch {i}: {{if: hatch{i} = shut, then: {{hatch{i}: open}}}}
  shut hatch {i}: {{if: hatch{i} = open, then: {{hatch{i}: shut}}}}"""
HAZARDS = """\
  open_turning{i}: {{text: Cover {i} open while its rotor turns, must not be: cover{i} = open AND rotor{i} <> standstill}}
  no_guard{i}:
    text: Rotor {i} driven in clean-out mode with its guard away
    must not be: drive{i} <> off AND mode = clean_out AND guard{i} = away
  dry{i}: {{text: Rotor {i} driven without oil, must not be: drive{i} <> off AND oil{i} = still}}
  hatch_open{i}: {{text: Rotor {i} driven with its hatch open, must not be: drive{i} <> off AND hatch{i} = open}}
  feed_slow{i}: {{text: Feed {i} open below full speed, must not be: feed{i} = open AND rotor{i} <> full}}
  driven_stopped{i}: {{text: Rotor {i} driven with the stop pressed, must not be: drive{i} <> off AND estop{i} = pressed}}"""
REQUIREMENTS = """\
  works{i}: {{text: Separator {i} can separate, reachable: feed{i} = open}}
  cleans{i}: {{text: Separator {i} can be cleaned out, reachable: drive{i} = slow AND rotor{i} = slow}}"""


def lines(copies: int, *, mistake: bool = False) -> str:
    """Return the file for so many separators."""

    def filled(text: str) -> Iterator[str]:
        for i in range(1, copies + 1):
            yield text.replace("{proof}", "" if mistake else PROOF).format(i=i)

    return written(
        [f"machine: A line of {copies}", "tick: 5 s", "parts:", *filled(PARTS)],
        ["panel:", "  mode: {states: [work, clean_out]}", *filled(PANEL)],
        ["sensors:", *filled(SENSORS), "outputs:", *filled(OUTPUTS), "memory:", *filled(MEMORY)],
        ["timers:", *filled(TIMERS), "commands:", *filled(COMMANDS), "trips:", *filled(TRIPS)],
        ["plant:", *filled(PLANT), "people:", *filled(PEOPLE)],
        ["hazards:", *filled(HAZARDS), "requirements:", *filled(REQUIREMENTS)],
    )
