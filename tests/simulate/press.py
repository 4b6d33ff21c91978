"""The hand-loaded press of the language's own example, built by hand."""

from fractions import Fraction

from seqcheck.check.machine import Machine, Section
from tests.simulate.build import (
    Parts,
    asked,
    command,
    hazard,
    number,
    person,
    plant,
    q,
    read,
    sense,
    sensor,
    states,
    stuck,
    timer,
    trip,
    upset,
)

ram, gate = read("ram"), read("gate")


def press() -> Machine:
    """Return the machine; only what the simulator reads is filled in."""
    estop, drive = read("estop"), asked("drive")
    return Parts(
        name="Hand-loaded press",
        revision="A",
        tick_s=Fraction(1, 2),
        variables=(
            states("ram", "top moving_down bottom moving_up"),
            states("gate", "shut open"),
            number("parts_made", 0, 3),
            states("estop", "released pressed", Section.PANEL),
            states("drive", "off down up", Section.OUTPUT),
            states("gate_lock", "engaged released", Section.OUTPUT),
            states("ready", "no yes", Section.MEMORY),
        ),
        sensors=(
            sensor("gate_shut", gate.is_("shut")),
            sensor("at_top", ram.is_("top")),
            sensor("at_bottom", ram.is_("bottom")),
        ),
        timers=(timer("settled", "TON", sense("gate_shut"), 2),),
        commands=(
            command("reset", {"emergency stop is released": estop.is_("released")}, {"ready": "yes"}),
            command(
                "start the stroke",
                {
                    "machine is ready": read("ready").is_("yes"),
                    "gate has been shut for a second": q("settled"),
                    "ram is at the top": sense("at_top"),
                },
                {"drive": "down", "gate_lock": "engaged"},
            ),
            command(
                "release the gate",
                {"ram is at the top": sense("at_top"), "drive is off": drive.is_("off")},
                {"gate_lock": "released"},
            ),
        ),
        trips=(
            trip("emergency stop", estop.is_("pressed"), {"drive": "off", "ready": "no"}),
            trip("gate opened", ~sense("gate_shut"), {"drive": "off"}),
            trip("return", sense("at_bottom") & drive.is_("down"), {"drive": "up"}),
            trip("stroke done", sense("at_top") & drive.is_("up"), {"drive": "off"}),
        ),
        plant=(
            plant("ram starts down", read("drive").is_("down") & ram.is_("top"), (0, 0), {"ram": "moving_down"}),
            plant("ram lands", ram.is_("moving_down"), (2, 4), {"ram": "bottom"}),
            plant("ram rises", read("drive").is_("up") & ram.is_("bottom"), (1, 1), {"ram": "moving_up"}),
            plant("ram is back", ram.is_("moving_up") & read("drive").is_("up"), (2, 4), {"ram": "top"}),
        ),
        people=(
            person("open the gate", gate.is_("shut") & read("gate_lock").is_("released"), {"gate": "open"}),
            person("shut the gate", gate.is_("open"), {"gate": "shut"}),
        ),
        faults=(
            stuck("gate switch stuck shut", "gate_shut", True, is_sensor=True),
            stuck("drive fails to stop", "drive", "down", is_sensor=False),
            upset("air pressure lost", ~ram.is_("top"), {"ram": "moving_down"}),
        ),
        hazards=(
            hazard(
                "H1",
                "Gate open while the ram moves",
                gate.is_("open") & (ram.is_("moving_down") | ram.is_("moving_up")),
            ),
        ),
    ).machine
