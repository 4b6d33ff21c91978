"""A Hypothesis strategy for small machines in which commands bring about hazards: what moves is driven by outputs.

Files are written as `tests/outside/machines.py` writes them: one line for each command, double quotes.
"""

from hypothesis import strategies as st

STATES = (("low", "mid", "high"), ("shut", "open"), ("near", "far"))


@st.composite
def driven(draw: st.DrawFn) -> str:
    """Return the text of a machine that must be accepted."""

    def one(*choices: str) -> str:
        return draw(st.sampled_from(choices))

    def count(low: int, high: int) -> int:
        return draw(st.integers(low, high))

    kinds = [draw(st.sampled_from(STATES)) for _ in range(2)]
    of_part = [one(*(f"part_{n} = {state}" for state in states)) for n, states in enumerate(kinds) for _ in range(2)]
    of_output = [f"output_{n} = {state}" for n in range(2) for state in ("off", "on")]
    seen = [*of_output, "sensor_0", "NOT sensor_0", "sensor_1", "panel_0", "memory_0 >= 1", "timer_0.Q", "NOT timer_0.Q"]
    lines = ["machine: A driven machine", "parts:"]
    lines += [f"  part_{n}: [{', '.join(states)}]" for n, states in enumerate(kinds)]
    lines += [
        "panel:",
        "  panel_0: bool",
        "sensors:",
        f'  sensor_0: "{one(*of_part)}"',
        f'  sensor_1: "{one(*of_part)} OR panel_0"',
    ]
    lines += ["outputs:", "  output_0: [off, on]", "  output_1: [off, on]", "memory:", "  memory_0: {range: 0..2}"]
    lines += ["timers:", f'  timer_0: {{kind: {one("TON", "TOF", "TP")}, in: "{one(*of_output)}", pt: {count(1, 3)} s}}']
    lines += ["commands:"]
    effects = ['output_0: "on"', 'output_1: "on"', 'output_0: "off"', 'output_1: "off"', 'memory_0: "MIN(memory_0 + 1, 2)"']
    for number, effect in enumerate(effects[: count(2, 5)]):
        test = one(one(*seen), f"({one(*seen)} AND {one(*seen)})")
        asked = f'permissives: {{permissive {number}: "{test}"}}, ' if one("yes", "yes", "no") == "yes" else ""
        lines += [f'  "command {number}": {{{asked}then: {{{effect}}}}}']
    if one("yes", "no", "no") == "yes":
        lines += ["trips:", f'  "trip 1": {{when: "{one(*seen)}", then: {{output_{count(0, 1)}: "off"}}}}']
    lines += ["plant:"]
    ways = [(part, way) for part in range(2) for way in ("on", "off")] + [(count(0, 1), one("on", "off"))] * count(0, 1)
    for number, (part, way) in enumerate(ways):
        before, after = (kinds[part][0], kinds[part][1]) if way == "on" else (kinds[part][1], kinds[part][0])
        if number >= 4:
            before, after = one(*kinds[part]), one(*kinds[part])
        lasts = one(
            "", ", after: at once" if before != after else "", ", after: 1..2 s", ", after: 2 s", ", after: 1 s or more"
        )
        when = f"output_{part} = {way} AND part_{part} = {before}"
        lines += [f'  plant rule {number}: {{when: "{when}"{lasts}, then: {{part_{part}: "{after}"}}}}']
    if one("yes", "no", "no") == "yes":
        lines += ["people:", f'  "action 1": {{if: "{one(*of_output)}", then: {{part_1: "{one(*kinds[1])}"}}}}']
    lines += ["hazards:"]
    for number in range(count(1, 2)):
        moved = [f"part_{part} = {kinds[part][1]}" for part in range(2)]
        lines += [f'  H{number}: {{must not be: "{one(*moved)} AND {one(*of_part, *of_output, *moved)}"}}']
    wanted = [one(*of_part, *of_output) for _ in range(count(0, 2))]
    lines += ["requirements:"] * bool(wanted) + [f'  R{n}: {{reachable: "{goal}"}}' for n, goal in enumerate(wanted)]
    return "\n".join(lines) + "\n"
