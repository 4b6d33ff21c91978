"""Faults planted into the good sequences, one or more for each hazard that no mistake of a draft shows."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """Replacements of text that make *hazard* reachable in a sequence that holds."""

    sequence: str
    hazard: str
    replacements: tuple[tuple[str, str], ...]


PLANTS = (
    Plant(
        sequence="separator",
        hazard="H5",
        replacements=(("then: {rotor_drive: off, flush_valve: shut, ready: no}", "then: {flush_valve: shut, ready: no}"),),
    ),
    Plant(
        sequence="separator",
        hazard="H6",
        replacements=(("if: main_switch = locked_off AND cabinet = shut\n", "if: main_switch = locked_off\n"),),
    ),
    Plant(
        sequence="separator",
        hazard="H8",
        replacements=(("      the lifting tool is in its holder: tool_in_holder\n", ""),),
    ),
    Plant(
        sequence="separator",
        hazard="H11",
        replacements=(
            ("      the flushing water is shut: flush_valve = shut\n", ""),
            ("when: mode <> clean_out OR NOT cover_locked\n", "when: mode <> clean_out\n"),
        ),
    ),
    Plant(
        sequence="separator",
        hazard="H12",
        replacements=(("      the bearing plug is out: NOT bearing_plug_fitted\n", ""),),
    ),
    Plant(
        sequence="separator",
        hazard="H3",
        replacements=(
            ("oil_circulated: {kind: TON, in: oil_flows, pt: 10 s", "oil_circulated: {kind: TON, in: oil_flows, pt: 5 s"),
        ),
    ),
    Plant(
        sequence="two_hand_press",
        hazard="H4",
        replacements=(("then: {clutch: off, ready: no}", "then: {ready: no}"),),
    ),
    Plant(
        sequence="burner",
        hazard="H2",
        replacements=(("when: phase = resting AND NOT overrun.Q\n", "when: phase = resting\n"),),
    ),
    Plant(
        sequence="burner",
        hazard="H3",
        replacements=(
            ("when: (phase = lighting OR phase = firing) AND NOT air_flows\n", "when: phase = lighting AND NOT air_flows\n"),
        ),
    ),
    Plant(
        sequence="lift_gate",
        hazard="H2",
        replacements=(("      the car is at the upper floor: car_at_upper\n", ""),),
    ),
    Plant(
        sequence="robot_cell",
        hazard="H4",
        replacements=(("    when: estop = pressed\n", "    when: estop = pressed AND mode = automatic\n"),),
    ),
)
