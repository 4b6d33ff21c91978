"""The mistakes of each draft: what the draft says, what mends it, and what shows it when it is the only mistake left."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistake:
    """One place of a draft. *found_by* are the hazards and requirements that it violates all by itself."""

    draft: str
    mended: str
    found_by: frozenset[str]


SEPARATOR = (
    Mistake(
        draft="""\
  # MISTAKE 1: the probe sees that a drum is there, not how it sits
  drum_gap_within_11_mm:  drum <> out
""",
        mended="""\
  drum_gap_within_11_mm:  drum = seated
""",
        found_by=frozenset({"H9", "R16", "R17"}),
    ),
    Mistake(
        draft="""\
  # MISTAKE 2: unlocking waits for a time that is shorter than the run-down, not for standstill
  stood_still:    {kind: TON, in: rotor_drive = off, pt: 20 s, source: assumed}
""",
        mended="""\
  stood_still:    {kind: TON, in: at_standstill, pt: 5 s, source: assumed}
""",
        found_by=frozenset({"H1", "R13"}),
    ),
    Mistake(
        draft="""\
    # MISTAKE 3: to save time, the reset catches a rotor that still turns fast and takes its drive up again
    then: {ready: yes, rotor_drive: "SEL(at_working_speed, rotor_drive, full)"}
""",
        mended="""\
    then: {ready: yes}
""",
        found_by=frozenset({"R9"}),
    ),
    Mistake(
        draft="""\
      # MISTAKE 4: nothing keeps the oil on while the rotor runs down
""",
        mended="""\
      the rotor is at standstill: at_standstill
""",
        found_by=frozenset({"H3", "R14"}),
    ),
    Mistake(
        draft="""\
      # MISTAKE 5: the feed asks what speed was commanded, not what speed was reached
      the rotor is at working speed: rotor_drive = full
""",
        mended="""\
      the rotor is at working speed: at_working_speed
""",
        found_by=frozenset({"H4", "R15"}),
    ),
    Mistake(
        draft="""\
      # MISTAKE 6: nobody asks for the splash guard
""",
        mended="""\
      the splash guard is fitted: splash_guard_fitted
""",
        found_by=frozenset({"H2", "R25"}),
    ),
    Mistake(
        draft="""\
      # MISTAKE 7: OR where both were meant
      the bearing plug is fitted and the oil flows: bearing_plug_fitted OR oil_flows
""",
        mended="""\
      the bearing plug is fitted: bearing_plug_fitted
""",
        found_by=frozenset({"H7"}),
    ),
    Mistake(
        draft="""\
    # MISTAKE 8: a loss of mains leaves the drive commanded, so the rotor restarts when the mains comes back
    when: NOT (cover_locked AND oil_flows)
""",
        mended="""\
    when: NOT (mains_on AND cover_locked AND oil_flows)
""",
        found_by=frozenset({"H4", "R9"}),
    ),
    Mistake(
        draft="""\
    # MISTAKE 9: the mode selector is read when the rotor starts, and then only if it is turned to off
    when: rotor_drive = full AND (mode = off OR NOT drum_gap_within_11_mm)
""",
        mended="""\
    when: rotor_drive = full AND (mode <> separate OR NOT drum_gap_within_11_mm)
""",
        found_by=frozenset({"H2", "H10"}),
    ),
)

TWO_HAND_PRESS = (
    Mistake(
        draft="""\
  # MISTAKE 1: the time runs while both buttons are held, where it should run from the first one on
  too_late: {kind: TON, in: left_held AND right_held, pt: 600 ms, source: "ISO 13851 type III: both within 0.5 s"}
""",
        mended="""\
  too_late: {kind: TON, in: left_held OR right_held, pt: 600 ms, source: "ISO 13851 type III: both within 0.5 s"}
""",
        found_by=frozenset({"H2"}),
    ),
    Mistake(
        draft="""\
    # MISTAKE 2: one button let go is enough for the next stroke
    when: NOT left_held OR NOT right_held
""",
        mended="""\
    when: NOT left_held AND NOT right_held
""",
        found_by=frozenset({"H3"}),
    ),
    Mistake(
        draft="""\
    # MISTAKE 3: this button is mounted too close, 160 mm from the die
    after: {time: 100 ms or more, source: "ISO 13855: 160 mm at 1600 mm/s"}
    then: {right_hand: in_die}
""",
        mended="""\
    after: {time: 300 ms or more, source: "ISO 13855: 480 mm at 1600 mm/s"}
    then: {right_hand: in_die}
""",
        found_by=frozenset({"H1"}),
    ),
)

STEAM_DOOR = (
    Mistake(
        draft="""\
  # MISTAKE 1: ten seconds of venting count, whatever the pressure
  vented:    {kind: TON, in: vent_valve = open, pt: 10 s, source: assumed}
""",
        mended="""\
  vented:    {kind: TON, in: vent_valve = open AND no_pressure, pt: 10 s, source: assumed}
""",
        found_by=frozenset({"H1", "H2", "R6"}),
    ),
    Mistake(
        draft="""\
      # MISTAKE 2: nobody asks for the bolts
      the door has been locked for 5 seconds: NOT warning.Q
""",
        mended="""\
      the bolts are in: bolts_in
      the door has been locked for 5 seconds: NOT warning.Q
""",
        found_by=frozenset({"H1", "H3", "R7"}),
    ),
    Mistake(
        draft="""\
    # MISTAKE 3: the limit opens the vent and leaves the steam on
    when: overpressure
    then: {vent_valve: open}
""",
        mended="""\
    when: overpressure
    then: {steam_valve: shut}
""",
        found_by=frozenset({"H4"}),
    ),
)

BURNER = (
    Mistake(
        draft="""\
  # MISTAKE 1: the fan command is taken for the air that it should move
  purged:      {kind: TON, in: phase = purging AND fan = on, pt: 15 s, source: "sweeps out 6 parts of gas, assumed"}
""",
        mended="""\
  purged:      {kind: TON, in: phase = purging AND air_flows, pt: 15 s, source: "sweeps out 6 parts of gas, assumed"}
""",
        found_by=frozenset({"H1"}),
    ),
    Mistake(
        draft="""\
  # MISTAKE 2: ten seconds of gas before anybody misses the flame
  light_limit: {kind: TON, in: phase = lighting, pt: 10 s, source: assumed}
""",
        mended="""\
  light_limit: {kind: TON, in: phase = lighting, pt: 3 s, source: assumed}
""",
        found_by=frozenset({"H1"}),
    ),
    Mistake(
        draft="""\
    # MISTAKE 3: the emergency stop is looked at only while it burns
    when: estop = pressed AND phase = firing
""",
        mended="""\
    when: estop = pressed AND phase <> resting
""",
        found_by=frozenset({"H4"}),
    ),
)

LIFT_GATE = (
    Mistake(
        draft="""\
  # MISTAKE 1: shorter than the brake may take
  stood_still:  {kind: TON, in: motor = off, pt: 1 s, source: assumed}
""",
        mended="""\
  stood_still:  {kind: TON, in: motor = off, pt: 3 s, source: "longer than the brake takes, assumed"}
""",
        found_by=frozenset({"H3", "R6", "R7"}),
    ),
    Mistake(
        draft="""\
      # MISTAKE 2: a car that is not at the upper floor need not be at the ground floor
      the car is at the ground floor: NOT car_at_upper
""",
        mended="""\
      the car is at the ground floor: car_at_ground
""",
        found_by=frozenset({"H1"}),
    ),
    Mistake(
        draft="""\
    # MISTAKE 3: a car on its way down is left to run on to the floor
    then: {call: none, motor: "SEL(motor = up, motor, off)"}
  the car sets off up:
""",
        mended="""\
    then: {call: none, motor: off}
  the car sets off up:
""",
        found_by=frozenset({"H4"}),
    ),
)

ROBOT_CELL = (
    Mistake(
        draft="""\
  # MISTAKE 1: the robot may need a second to stop, and the gate lets go after half of it
  stopping: {kind: TOF, in: drive <> off, pt: 500 ms, text: time to come to rest, source: assumed}
""",
        mended="""\
  stopping: {kind: TOF, in: drive <> off, pt: 1500 ms, text: time to come to rest, source: assumed}
""",
        found_by=frozenset({"H1", "H2"}),
    ),
    Mistake(
        draft="""\
      # MISTAKE 2: nobody asks whether somebody is still inside
""",
        mended="""\
      the cell is empty: cell_empty
""",
        found_by=frozenset({"H1", "H3", "R5"}),
    ),
    Mistake(
        draft="""\
    # MISTAKE 3: the enabling switch is looked at in the wrong mode
    when: drive = creep AND enabling = released AND mode = automatic
""",
        mended="""\
    when: drive = creep AND enabling = released
""",
        found_by=frozenset({"H3"}),
    ),
)

MISTAKES: dict[str, tuple[Mistake, ...]] = {
    "separator": SEPARATOR,
    "two_hand_press": TWO_HAND_PRESS,
    "steam_door": STEAM_DOOR,
    "burner": BURNER,
    "lift_gate": LIFT_GATE,
    "robot_cell": ROBOT_CELL,
}
