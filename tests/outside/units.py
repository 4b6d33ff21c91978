"""The unit states of ISA-TR88.00.02 and what leads from one to another, from memory; and a sequence file made of them."""

ACTING = {
    "resetting": "idle",
    "starting": "execute",
    "execute": "completing",
    "completing": "complete",
    "holding": "held",
    "unholding": "execute",
    "suspending": "suspended",
    "unsuspending": "execute",
    "stopping": "stopped",
    "aborting": "aborted",
    "clearing": "stopped",
}
"""States that end by themselves, with what follows."""

WAITING = ("stopped", "idle", "complete", "held", "suspended", "aborted")
"""States that stay until a command comes. With those that end by themselves: 17."""

COMMANDS = {
    "reset": {"stopped": "resetting", "complete": "resetting"},
    "start": {"idle": "starting"},
    "hold": {"execute": "holding"},
    "unhold": {"held": "unholding"},
    "suspend": {"execute": "suspending"},
    "unsuspend": {"suspended": "unsuspending"},
    "clear": {"aborted": "clearing"},
    "stop": dict.fromkeys(
        ("resetting", "idle", "starting", "execute", "completing", "complete", "holding", "held", "unholding",
         "suspending", "suspended", "unsuspending"), "stopping"),
    "abort": dict.fromkeys(
        ("clearing", "stopped", "stopping", "resetting", "idle", "starting", "execute", "completing", "complete",
         "holding", "held", "unholding", "suspending", "suspended", "unsuspending"), "aborting"),
}  # fmt: skip


def moves() -> list[tuple[str, str]]:
    """Return every move from a state to another, once for each command or end of an acting state that makes it."""
    return list(ACTING.items()) + [move for command in COMMANDS.values() for move in command.items()]


def sequence() -> str:
    """Return a sequence file: the unit's state is a part, commands are people's actions, acting states end by themselves."""
    lines = ["machine: A unit", "parts:", f"  unit: {{states: [{', '.join([*ACTING, *WAITING])}], starts: stopped}}", "plant:"]
    lines += [f"  {state} is done: {{when: unit = {state}, then: {{unit: {after}}}}}" for state, after in ACTING.items()]
    lines += ["people:"]
    lines += [
        f"  {command} from {state}: {{if: unit = {state}, then: {{unit: {after}}}}}"
        for command, leads in COMMANDS.items()
        for state, after in leads.items()
    ]
    lines += ["requirements:"]
    lines += [f"  R_{state}: {{reachable: unit = {state}}}" for state in (*ACTING, *WAITING)]
    return "\n".join(lines) + "\n"
