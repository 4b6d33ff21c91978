"""The shape of a sequence file, said once: every section, its keys, their forms. The reader and the schema both follow it."""

from seqcheck.syntax.forms import Form, Key, Keyed, Leaf, Listing, Named, OneOf, Single

TEXT = Single(Leaf.TEXT, "Hand-loaded press")
EXPRESSION = Single(Leaf.EXPRESSION, "gate = shut AND speed > 0")
DURATION = Single(Leaf.DURATION, "500 ms")
INTERVAL = Single(Leaf.INTERVAL, "1..2 s")
VALUE = Single(Leaf.VALUE, "shut")
STATE = Single(Leaf.STATE, "shut")
REFERENCE = Single(Leaf.REFERENCE, "start the stroke")

_SOURCE = Key("source", TEXT, "Where this comes from: a line of the risk assessment, a standard, `measured`, `assumed`.")
_LABEL = Key("text", TEXT, "What people call it, for reports.")

_STATES = Listing(STATE, "[shut, open]")
_STARTS = OneOf("a start value", (VALUE, Listing(VALUE, "[shut, open]")), "shut")
_RANGE = Single(Leaf.RANGE, "0..3")


def _variable(*more: Key) -> OneOf:
    """Return the form of a variable with *more* keys than every variable has."""
    keys = (
        Key("states", _STATES, "The states it can be in; it starts in the first, unless `starts` says otherwise."),
        Key("range", _RANGE, "The whole numbers it can be, ends included; it starts at the lowest."),
        Key("starts", _STARTS, "Where it starts: one value, a list of possible ones, or `any`."),
        *more,
        _LABEL,
        _SOURCE,
    )
    forms = (Single(Leaf.BOOL, "bool"), _STATES, Keyed("a variable", keys, "{states: [shut, open]}"))
    return OneOf("a variable", forms, "{states: [shut, open]}, {range: 0..3}, [shut, open] or bool")


VARIABLE = _variable()
OUTPUT = _variable(Key("unpowered", VALUE, "What it does without power, whatever is commanded; `derive: [power]` needs it."))
PANEL_ITEM = _variable(
    Key(
        "role",
        Single(Leaf.CHOICE, "emergency_stop", ("emergency_stop",)),
        "`emergency_stop`: it stops the machine in an emergency; of its two states the first is released.",
    )
)
MEMORY = _variable(
    Key(
        "retained",
        Single(Leaf.TRUTH, "TRUE", ("TRUE", "FALSE")),
        "Whether it keeps its value without power; `derive: [power]` and `derive: [restart]` need it.",
    )
)
SENSOR = OneOf(
    "a sensor",
    (
        EXPRESSION,
        Keyed("a sensor", (Key("is", EXPRESSION, "What it reads of the truth.", required=True), _LABEL), "{is: gate = shut}"),
    ),
    "gate = shut",
)
TIMER = Keyed(
    "a timer",
    (
        Key(
            "kind",
            Single(Leaf.CHOICE, "TON", ("TON", "TOF", "TP")),
            "On-delay, off-delay or pulse (IEC 61131-3).",
            required=True,
        ),
        Key("in", EXPRESSION, "The condition it times.", required=True),
        Key("pt", DURATION, "Its time.", required=True),
        _LABEL,
        _SOURCE,
    ),
    "{kind: TON, in: gate_shut, pt: 1 s}",
)
THEN = Named("effect", EXPRESSION, "{drive: down}", identifiers=True, may_be_empty=False)
_THEN = Key("then", THEN, "What it sets: each name gets a value; all values are read before any is set.", required=True)
PERMISSIVE = OneOf(
    "a permissive",
    (EXPRESSION, Keyed("a permissive", (Key("if", EXPRESSION, "What must hold.", required=True), _SOURCE), "{if: at_top}")),
    "at_top",
)
COMMAND = Keyed(
    "a command",
    (
        Key(
            "permissives",
            Named("permissive", PERMISSIVE, "{ram is at the top: at_top}"),
            "What must hold for it to be accepted.",
        ),
        _THEN,
    ),
    "{permissives: {ram is at the top: at_top}, then: {drive: down}}",
)
_WHEN = Key("when", EXPRESSION, "The condition under which it happens.", required=True)
TRIP = Keyed("a trip", (_WHEN, _THEN, _SOURCE), "{when: NOT gate_shut, then: {drive: off}}")
_AFTER = OneOf(
    "an interval",
    (
        INTERVAL,
        Keyed("an interval", (Key("time", INTERVAL, "How long.", required=True), _SOURCE), "{time: 1..2 s, source: measured}"),
    ),
    "1..2 s",
)
PLANT_RULE = Keyed(
    "a plant rule",
    (
        _WHEN,
        Key(
            "after",
            _AFTER,
            "How long `when` holds before it happens: `1..2 s`, `1 s or more`, `at once`; left out: any time, or never.",
        ),
        _THEN,
        _SOURCE,
    ),
    "{when: ram = moving_down, after: 1..2 s, then: {ram: bottom}}",
)
_IF = Key("if", EXPRESSION, "When it is possible; always, if left out.")
PERSON_ACTION = Keyed("a person's action", (_IF, _THEN, _SOURCE), "{if: gate = open, then: {gate: shut}}")
_STUCK = Key("stuck", VALUE, "The value it is stuck at.", required=True)
FAULT = OneOf(
    "a fault",
    (
        Keyed(
            "a stuck sensor",
            (Key("sensor", REFERENCE, "The sensor that sticks.", required=True), _STUCK, _IF, _SOURCE),
            "{sensor: gate_shut, stuck: TRUE}",
            "sensor",
        ),
        Keyed(
            "a stuck output",
            (Key("output", REFERENCE, "The output that sticks.", required=True), _STUCK, _IF, _SOURCE),
            "{output: drive, stuck: down}",
            "output",
        ),
        Keyed("an effect on parts", (_IF, _THEN, _SOURCE), "{if: ram <> top, then: {ram: moving_down}}", "then"),
    ),
    "{sensor: gate_shut, stuck: TRUE}, {output: drive, stuck: down} or {if: ram <> top, then: {ram: moving_down}}",
)


DERIVED = ("sensors", "outputs", "power", "restart", "timers")
"""What faults can be derived from."""

_DERIVE = Key(
    "derive",
    OneOf(
        "a list of what faults are derived from (no fault can have this name)",
        (Listing(Single(Leaf.CHOICE, "sensors", DERIVED), "[sensors, outputs, power, restart, timers]"),),
        "[sensors, outputs, power, restart, timers]",
    ),
    "Faults that follow from what is declared: sensors and outputs that stick, power, restart, timers that lose their time.",
)


def _graded(name: str, letter: str, about: str) -> Key:
    return Key(name, Single(Leaf.CHOICE, f"{letter}2", (f"{letter}1", f"{letter}2")), about, required=True)


_RISK = Keyed(
    "a risk",
    (
        _graded("severity", "S", "S1 slight, S2 serious injury."),
        _graded("exposure", "F", "F1 seldom or short, F2 frequent or long."),
        _graded("avoidance", "P", "P1 possible, P2 scarcely possible to avoid."),
    ),
    "{severity: S2, exposure: F2, avoidance: P2}",
)
HAZARD = Keyed(
    "a hazard",
    (
        Key("text", TEXT, "The hazard in words."),
        Key("must not be", EXPRESSION, "The condition that must never be.", required=True),
        Key("risk", _RISK, "The parameters of the risk graph of ISO 13849-1, rated before the safeguard."),
        _SOURCE,
    ),
    "{text: Gate open while the ram moves, must not be: gate = open AND ram <> top}",
)


def _asked(what: str, keys: tuple[Key, ...], example: str) -> Keyed:
    text = Key("text", TEXT, "The requirement in words.")
    return Keyed(what, (text, *keys, _SOURCE), example, keys[0].name)


def _condition(name: str, about: str, *, required: bool = True) -> Key:
    return Key(name, EXPRESSION, about, required=required)


REQUIREMENT = OneOf(
    "a requirement",
    (
        _asked(
            "a requirement that something can be",
            (_condition("reachable", "Some reachable state has this."),),
            "{reachable: ram = bottom}",
        ),
        _asked(
            "a requirement of recovery",
            (_condition("recoverable", "From every reachable state some run leads to this."),),
            "{recoverable: ram = top}",
        ),
        _asked(
            "a command forbidden",
            (
                Key("forbid", REFERENCE, "The command that must not be accepted.", required=True),
                _condition("while", "The states in which it must not."),
            ),
            "{forbid: reset, while: estop = pressed}",
        ),
        _asked(
            "a requirement on what starts something",
            (
                Key(
                    "only",
                    Listing(REFERENCE, "[start the stroke]", may_be_empty=True),
                    "The only commands whose acceptance may make it true.",
                    required=True,
                ),
                _condition("makes", "What they alone may make true."),
            ),
            "{only: [start the stroke], makes: drive = down}",
        ),
        _asked(
            "a response",
            (
                _condition("when", "What sets the clock going, when it becomes true."),
                Key("within", DURATION, "The most time until `then`.", required=True),
                _condition("then", "What must come."),
                _condition("unless", "What lets it off.", required=False),
            ),
            "{when: estop = pressed, within: 2 s, then: ram <> moving_down}",
        ),
        _asked(
            "a precedence",
            (
                _condition("before", "What must not be true ..."),
                _condition("first", "... unless this has been true before, or is."),
                _condition("since", "A state with this forgets what came before it.", required=False),
            ),
            "{before: ram = moving_down, first: gate_lock = engaged}",
        ),
    ),
    "{reachable: ram = bottom}",
)
_STEP = OneOf(
    "a step",
    (
        REFERENCE,
        Keyed("a wait", (Key("wait", DURATION, "Let exactly so much time pass.", required=True),), "{wait: 1 s}", "wait"),
        Keyed("a wait for a condition", (_condition("until", "Wait until this holds."),), "{until: ram = top}", "until"),
        Keyed(
            "a panel item set",
            (
                Key(
                    "set",
                    Named("panel item", VALUE, "{estop: pressed}", identifiers=True, may_be_empty=False),
                    "Panel items and their new states.",
                    required=True,
                ),
            ),
            "{set: {estop: pressed}}",
            "set",
        ),
    ),
    "reset, {wait: 1 s}, {until: ram = top} or {set: {estop: pressed}}",
)
PROCEDURE = Keyed(
    "a procedure",
    (
        Key(
            "steps",
            Listing(_STEP, "[reset, {wait: 1 s}, start the stroke]"),
            "What is done, in order: commands and people's actions by name, waits, panel items set.",
            required=True,
        ),
        _condition("ends with", "What must hold at the end.", required=False),
        Key("after", REFERENCE, "The procedure at whose end it begins; a start state if left out."),
        _SOURCE,
    ),
    "{steps: [reset, {wait: 1 s}], ends with: ready = yes}",
)


def _section(
    name: str, what: str, entry: Form, about: str, *, identifiers: bool = False, reserved: tuple[Key, ...] = ()
) -> Key:
    shown = entry.forms[-1] if isinstance(entry, OneOf) else entry
    named = Named(what, entry, f"{{NAME: {shown.example}}}", identifiers=identifiers, reserved=reserved)
    return Key(name, named, about)


FILE = Keyed(
    "a sequence file",
    (
        Key("machine", TEXT, "The machine's name.", required=True),
        Key("revision", TEXT, "The revision of this description."),
        Key("tick", DURATION, "The model's unit of time, 1 s if left out; every duration is a whole number of ticks."),
        _section("parts", "part", VARIABLE, "The physical truth of the machine.", identifiers=True),
        _section("panel", "panel item", PANEL_ITEM, "Set by a person, read by the controller.", identifiers=True),
        _section("sensors", "sensor", SENSOR, "What the controller can read of the truth.", identifiers=True),
        _section("outputs", "output", OUTPUT, "Driven by the controller, acted on by the plant.", identifiers=True),
        _section("memory", "memory", MEMORY, "The controller's own.", identifiers=True),
        _section(
            "timers", "timer", TIMER, "IEC 61131-3 timers; expressions read NAME.Q and NAME.ET (in ticks).", identifiers=True
        ),
        _section("commands", "command", COMMAND, "Requests from the panel, accepted when every permissive holds."),
        _section("trips", "trip", TRIP, "Force outputs and memory the moment they hold, in file order."),
        _section("plant", "plant rule", PLANT_RULE, "What the machine does by itself."),
        _section("people", "person's action", PERSON_ACTION, "What a person can do by hand."),
        _section("faults", "fault", FAULT, "What may go wrong.", reserved=(_DERIVE,)),
        _section("hazards", "hazard", HAZARD, "What must never be."),
        _section("requirements", "requirement", REQUIREMENT, "What the machine must do, or keep to."),
        _section("procedures", "procedure", PROCEDURE, "The written operating sequence, as people are taught it."),
    ),
    "machine: Hand-loaded press",
)
