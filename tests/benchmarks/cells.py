"""Writes the sequence file of n small separators that share a mode switch: loosely coupled copies, no timers, no trips.

Known answers. One copy: the plain engine and the C rival. Two: the C rival too, with the mistake as far as 22 steps.
What is larger was counted with decision diagrams only.

| copies | oil | speed | mistake | states | transitions | verdicts |
|---|---|---|---|---|---|---|
| 1 | 10 | 7 | no | 7,176 | 43,020 | all hold |
| 1 | 10 | 7 | yes | 19,896 | | `open_turning1` in 22 steps |
| 2 | 3 | 3 | no | 1,218,732 | | all hold |
| 2 | 10 | 7 | no | 20,280,240 | 198.6 M | all hold |
| 2 | 10 | 7 | yes | 116,596,080 | | `open_turning1` in 22 steps |
| 3 | 3 | 2 | no | 411,830,784 | | all hold |
| 3 | 10 | 7 | no | 5.3e10 | | all hold |
| 8 | 10 | 7 | no | about 5e27 | | all hold |

The mistake: the cover may be unlocked though the run-down time has not passed. Every number in the machine is invented.
"""

from collections.abc import Iterator

from tests.outside.puzzles import written

READY = "lock{i} AND guard{i} AND drum{i} AND pump{i}"
ACTIONS = {  # what people do: its condition, its effects
    "lift cover {i}": ("cover{i} = shut AND NOT lock{i}", "cover{i}: open"),
    "shut cover {i}": ("cover{i} = open", "cover{i}: shut"),
    "lock {i}": ("cover{i} = shut AND NOT lock{i}", "lock{i}: TRUE"),
    "unlock {i}": ("lock{i} AND (fault = {i} OR speed{i} = 0) AND NOT motor{i}{proof}", "lock{i}: FALSE"),
    "fit guard {i}": ("NOT guard{i}", "guard{i}: TRUE"),
    "take guard {i}": ("guard{i} AND NOT motor{i}", "guard{i}: FALSE"),
    "fit drum {i}": ("NOT drum{i} AND cover{i} = open", "drum{i}: TRUE"),
    "take drum {i}": ("drum{i} AND cover{i} = open", "drum{i}: FALSE"),
    "pump on {i}": ("NOT pump{i} AND NOT estop{i}", "pump{i}: TRUE"),
    "pump off {i}": ("pump{i}", "pump{i}: FALSE"),
    "start {i}": (
        "NOT motor{i} AND cover{i} = shut AND " + READY + " AND oil{i} = {oil} AND NOT latch{i} AND NOT estop{i}",
        "motor{i}: TRUE",
    ),
    "stop {i}": ("motor{i}", "motor{i}: FALSE, feed{i}: FALSE"),
    "feed on {i}": ("NOT feed{i} AND motor{i} AND speed{i} = SEL(mode = slow, {speed}, {half})", "feed{i}: TRUE"),
    "feed off {i}": ("feed{i}", "feed{i}: FALSE"),
    "press stop {i}": ("NOT estop{i}", "estop{i}: TRUE, motor{i}: FALSE, feed{i}: FALSE, latch{i}: TRUE"),
    "release stop {i}": ("estop{i}", "estop{i}: FALSE"),
    "reset {i}": ("latch{i} AND NOT estop{i}", "latch{i}: FALSE"),
    "sensor fails {i}": ("fault = 0", "fault: {i}"),
}
RUNS = "(motor{i} AND cover{i} = shut AND lock{i} AND guard{i} AND pump{i} AND oil{i} > 0)"
MOMENT = {  # what a moment does to each copy
    "motor{i}": RUNS,
    "latch{i}": "latch{i} OR (motor{i} AND NOT " + RUNS + ")",
    "speed{i}": "SEL(" + RUNS + ", MAX(speed{i} - 1, 0), MIN(speed{i} + 1, SEL(mode = slow, {speed}, {half})))",
    "feed{i}": "feed{i} AND " + RUNS,
    "oil{i}": "SEL(pump{i}, MAX(oil{i} - 1, 0), MIN(oil{i} + 1, {oil}))",
    "rundown{i}": "SEL(" + RUNS + ", MIN(rundown{i} + 1, {speed}), 0)",
}
PARTS = """\
  cover{i}: [open, shut]
  lock{i}: bool
  guard{i}: bool
  drum{i}: bool
  pump{i}: bool
  feed{i}: bool
  motor{i}: bool
  estop{i}: bool
  latch{i}: {{starts: TRUE}}
  speed{i}: {{range: 0..{speed}}}
  oil{i}: {{range: 0..{oil}}}
  rundown{i}: {{range: 0..{speed}, starts: {speed}}}"""
HAZARDS = """\
  open_turning{i}: {{text: Cover {i} open while its rotor turns, must not be: cover{i} = open AND speed{i} > 0}}
  feed_open{i}: {{text: Feed {i} on with its cover open, must not be: feed{i} AND cover{i} = open}}
  motor_stop{i}: {{text: Motor {i} driven with the stop pressed, must not be: motor{i} AND estop{i}}}"""


def cells(copies: int, *, oil: int = 10, speed: int = 7, mistake: bool = False) -> str:
    """Return the file for so many separators; *oil* and *speed* are how many moments oil and run-up take."""

    def filled(text: str) -> Iterator[str]:
        proof = "" if mistake else " AND rundown{i} = {speed}"
        for i in range(1, copies + 1):
            yield text.replace("{proof}", proof).format(i=i, oil=oil, speed=speed, half=speed // 2 + 1)

    still = " AND ".join(filled("speed{i} = 0 AND NOT motor{i}"))
    actions = [f'  {name}: {{{{if: "{test}", then: {{{{{effects}}}}}}}}}' for name, (test, effects) in ACTIONS.items()]
    moment = ", ".join(filled(", ".join(f'{name}: "{value}"' for name, value in MOMENT.items())))
    return written(
        [f"machine: {copies} small separators with one mode switch", "parts:", "  mode: [fast, slow]"],
        [f"  fault: {{range: 0..{copies}}}"],
        filled(PARTS),
        ["people:", f'  turn the mode switch: {{if: {still}, then: {{mode: "SEL(mode = fast, fast, slow)"}}}}'],
        filled("\n".join(actions)),
        ["plant:", f"  a moment passes: {{when: TRUE, then: {{{moment}}}}}", "hazards:"],
        filled(HAZARDS),
    )
