"""A Hypothesis strategy for small random sequence files, as text: rich in behaviour, mostly below 2,000 reachable states.

It is weighted towards what is hard to get right: timers that elapse and feed each other, trips that set off trips, at-once
rules, closed and open intervals, numbers that may leave their range, settling that may never end, faults that stick. It
knows the language only: nothing of the tool is used here, and every file it writes must be accepted.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from hypothesis import strategies as st

from tests.outside.puzzles import mapping, quoted


@dataclass(frozen=True, slots=True)
class Kind:
    """A type: some states, or a number's bounds, or (neither) a truth."""

    states: tuple[str, ...] = ()
    bounds: tuple[int, int] | None = None

    @property
    def values(self) -> tuple[str | int, ...]:
        """The values, as a file has them."""
        if self.bounds is not None:
            return tuple(range(self.bounds[0], self.bounds[1] + 1))
        return self.states or ("FALSE", "TRUE")


TRUTH = Kind()
STATES = (Kind(("off", "on")), Kind(("low", "mid", "high")), Kind(("shut", "ajar", "open")))
AT_ONCE = (", after: at once", ", after: 0 s", ", after: 0..0 s")
NUMBERS = (Kind(bounds=(0, 2)), Kind(bounds=(0, 3)), Kind(bounds=(-1, 2)))
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Named:
    """Something that can be read or written, with its type."""

    name: str
    kind: Kind


@dataclass(slots=True)
class Writer:
    """Draws the pieces of a file. *fragile*: whether expressions may lack a value somewhere."""

    draw: st.DrawFn
    fragile: bool
    serial: int = 0
    used: list[str] = field(default_factory=list)

    # --- drawing ---
    def one(self, *choices: T) -> T:
        """Draw one of some choices; repeat a choice to weigh it."""
        return self.draw(st.sampled_from(choices))

    def count(self, low: int, high: int) -> int:
        """Draw a number."""
        return self.draw(st.integers(low, high))

    def called(self, word: str) -> str:
        """Return a name of free text that the file does not have yet."""
        self.serial += 1
        return f"{word} {self.serial}"

    # --- expressions ---
    def truth(self, scope: tuple[Named, ...], depth: int = 2) -> str:
        """Draw a truth that parenthesises itself where needed."""
        if depth and self.one(True, False, False):
            operator = self.one("AND", "AND", "OR", "XOR")
            return f"({self.truth(scope, depth - 1)} {operator} {self.truth(scope, depth - 1)})"
        atom = self.atom(self.one(*scope), scope)
        return f"NOT {atom}" if self.one(True, False, False, False) else atom

    def atom(self, read: Named, scope: tuple[Named, ...]) -> str:
        """Draw a truth about one thing."""
        if read.kind == TRUTH:
            return read.name if self.one(True, True, False) else f"({read.name} = {self.one('TRUE', 'FALSE')})"
        if read.kind.bounds:
            others = tuple(other for other in scope if other.name != read.name)
            return f"({read.name} {self.one('=', '<>', '<', '>', '<=', '>=')} {self.number(others, 1)})"
        twins = [other.name for other in scope if other.kind == read.kind and other.name != read.name]
        return f"({read.name} {self.one('=', '=', '<>')} {self.one(*read.kind.states, *read.kind.states, *twins)})"

    def number(self, scope: tuple[Named, ...], depth: int = 1) -> str:
        """Draw a number; its bounds always include some of 0, 1 and 2."""
        numbers = [read.name for read in scope if read.kind.bounds]
        truths = [read.name for read in scope if read.kind == TRUTH]
        if not numbers or not depth or self.one(True, False):
            return str(self.one(0, 1, 2, *numbers, *numbers))
        a, b = self.one(*numbers), self.one(*numbers)
        forms = [f"ABS({a})", f"MIN({a}, 2)", f"MAX({a}, {b})", f"LIMIT(0, {a} + 1, 2)", f"{a} + {b}", f"({a} + 1) MOD 3"]
        forms += [f"{a} * {b}", *(f"SEL({truth}, {a}, 1)" for truth in truths)]
        if self.fragile:
            forms += [f"{a} / {b}", f"{a} MOD {b}", f"MUX({a}, 0, 1, {b})", f"2 ** {a}"]
        return self.one(*forms)

    def value(self, target: Named, scope: tuple[Named, ...]) -> str | int:
        """Draw what a target may be set to; a number may leave its range."""
        if target.kind == TRUTH:
            others = [f"NOT {target.name}"] * 3 if target in scope else []
            return self.one("TRUE", "FALSE", "TRUE", "FALSE", *others, self.truth(scope, 1))
        if target.kind.bounds:
            low, high = target.kind.bounds
            within = f"LIMIT({low}, {self.number(scope)}, {high})"
            if target not in scope:
                return self.one(str(low), str(high), within, within, self.number(scope))
            up, down = f"{target.name} + 1", f"{target.name} - 1"
            around = f"SEL({target.name} < {high}, {low}, {up})"
            held = (f"MIN({up}, {high})", f"MAX({down}, {low})")
            return self.one(str(low), str(high), within, *held, around, around, up, down)
        twins = [other.name for other in scope if other.kind == target.kind]
        first, last = target.kind.states[0], target.kind.states[-1]
        turns = [f"SEL({target.name} = {first}, {first}, {last})"] * 3 if target in scope else []
        texts: list[str | int] = [*target.kind.states, *target.kind.states, *twins, *turns]
        return self.one(*texts)

    def calm_effects(self, targets: tuple[Named, ...], scope: tuple[Named, ...]) -> dict[str, str | int]:
        """Draw a `then` that mostly comes to rest when it is applied again and again."""
        if self.one(True, False, False, False):
            return self.effects(targets, scope)
        chosen = self.draw(st.lists(st.sampled_from(targets), min_size=1, max_size=2, unique=True))
        return {target.name: self.one(*target.kind.values) for target in chosen}

    def effects(self, targets: tuple[Named, ...], scope: tuple[Named, ...], most: int = 2) -> dict[str, str | int]:
        """Draw a `then`."""
        chosen = self.draw(st.lists(st.sampled_from(targets), min_size=1, max_size=most, unique=True))
        return {target.name: self.value(target, scope) for target in chosen}

    # --- declarations ---
    def kind(self) -> Kind:
        """Draw a type."""
        return self.one(TRUTH, TRUTH, *STATES, *NUMBERS)

    def declared(self, names: Iterable[str]) -> tuple[Named, ...]:
        """Draw the types of some names."""
        return tuple(Named(name, self.kind()) for name in names)

    def section(self, title: str, variables: tuple[Named, ...], derive: tuple[str, ...] = ()) -> list[str]:
        """Write a section of variables, each with its start values, and what the words of *derive* need."""
        lines = [f"  {v.name}: {self.declaration(v.kind, title, derive)}" for v in variables]
        return [f"{title}:", *lines] if lines else []

    def declaration(self, kind: Kind, title: str, derive: tuple[str, ...]) -> str:
        """Write one declaration in one of its forms."""
        values = kind.values
        retained = self.one("TRUE", "FALSE", "FALSE")
        starts = self.one("", "", "", ", starts: any", f", starts: {self.one(*values)}",
                          f", starts: [{values[0]}, {values[-1]}]")  # fmt: skip
        forgets = title == "outputs" or (title == "memory" and retained == "FALSE")
        if forgets and {"power", "restart"} & set(derive):
            starts = self.one("", f", starts: {self.one(*values)}")
        if title == "outputs" and ("power" in derive or self.one(True, False, False, False)):
            starts += f", unpowered: {self.one(*values)}"
        if title == "memory" and {"power", "restart"} & set(derive):
            starts += f", retained: {retained}"
        if kind.bounds:
            return f"{{range: {kind.bounds[0]}..{kind.bounds[1]}{starts}}}"
        if kind == TRUTH and not starts:
            return self.one("bool", "[FALSE, TRUE]")
        return f"{{states: [{', '.join(map(str, values))}]{starts}}}" if starts else f"[{', '.join(map(str, values))}]"

    def sensors(self, truth: tuple[Named, ...]) -> tuple[list[str], tuple[Named, ...]]:
        """Write the sensors; later ones may read earlier ones."""
        lines, sensors = ["sensors:"], list[Named]()
        for number in range(self.count(1, 3)):
            copied = self.one(*truth)
            is_copy = self.one(True, False)
            text = copied.name if is_copy else self.truth((*truth, *sensors), 1)
            sensors.append(Named(f"sensor_{number}", copied.kind if is_copy else TRUTH))
            lines.append(f"  sensor_{number}: {quoted(text)}")
        return lines, tuple(sensors)

    def timers(self, controller: tuple[Named, ...]) -> tuple[list[str], tuple[Named, ...]]:
        """Write the timers; each may read all timers, itself included."""
        lasting = [self.count(1, 3) for _ in range(self.one(0, 1, 1, 1, 2))]
        outputs = [Named(f"timer_{i}.Q", TRUTH) for i in range(len(lasting))]
        elapsed = [Named(f"timer_{i}.ET", Kind(bounds=(0, pt))) for i, pt in enumerate(lasting)]
        scope = (*controller, *controller, *outputs, *elapsed)
        lines = [
            f"  timer_{i}: {{kind: {self.one('TON', 'TON', 'TOF', 'TP')}, in: {quoted(self.truth(scope, 1))}, pt: {pt} s}}"
            for i, pt in enumerate(lasting)
        ]
        return (["timers:", *lines] if lines else []), (*outputs, *outputs, *elapsed)

    def after(self) -> str:
        """Write how long a plant rule takes, in all the forms that there are."""
        a, b = sorted((self.count(0, 3), self.count(0, 3)))
        waiting = max(b, 1)
        forms = (f"{waiting} s", f"{waiting}000 ms", f"{a}..{waiting} s", f"{a}..{waiting} s", f"{waiting} s or more")
        waits = (f", after: {form}" for form in forms)
        return self.one("", "", *AT_ONCE, *waits, ", after: 0 s or more")


def rule(name: str, entries: Mapping[str, str]) -> str:
    """Write one entry of a section: a flow mapping of what is given."""
    return f"  {quoted(name)}: {{{', '.join(f'{key}: {text}' for key, text in entries.items())}}}"


@dataclass(slots=True)
class Sketch:
    """What a file being drawn has so far."""

    parts: tuple[Named, ...]
    panel: tuple[Named, ...]
    outputs: tuple[Named, ...]
    memory: tuple[Named, ...]
    sensors: tuple[Named, ...]
    timers: tuple[Named, ...]

    @property
    def controller(self) -> tuple[Named, ...]:
        """What the controller reads."""
        return (*self.sensors, *self.sensors, *self.panel, *self.outputs, *self.memory, *self.timers)

    @property
    def truth(self) -> tuple[Named, ...]:
        """What the plant, people and properties read."""
        return (*self.parts, *self.parts, *self.outputs, *self.outputs, *self.panel, *self.memory, *self.sensors, *self.timers)

    @property
    def commanded(self) -> tuple[Named, ...]:
        """What the controller writes."""
        return (*self.outputs, *self.outputs, *self.memory)


def commands(w: Writer, s: Sketch) -> tuple[list[str], list[str]]:
    """Write the commands; return their names too."""
    names = [w.called("command") for _ in range(w.count(0, 3))]
    lines = []
    for name in names:
        asked = {w.called("permissive"): quoted(w.truth(s.controller, 1)) for _ in range(w.count(0, 2))}
        permissives = {"permissives": "{" + ", ".join(f"{k}: {v}" for k, v in asked.items()) + "}"} if asked else {}
        lines.append(rule(name, {**permissives, "then": mapping(w.effects(s.commanded, s.controller))}))
    return (["commands:", *lines] if lines else []), names


def trips(w: Writer, s: Sketch) -> list[str]:
    """Write the trips."""
    lines = [
        rule(
            w.called("trip"),
            {"when": quoted(w.truth(s.controller)), "then": mapping(w.calm_effects(s.commanded, s.controller))},
        )
        for _ in range(w.count(0, 3))
    ]
    return ["trips:", *lines] if lines else []


def plant(w: Writer, s: Sketch) -> list[str]:
    """Write the plant's rules."""
    lines = []
    for _ in range(w.count(1, 4)):
        when = w.one("TRUE", *[quoted(w.truth(s.truth))] * 6)
        after = w.after()
        draw_effects = w.calm_effects if after in AT_ONCE else w.effects
        lines.append(f"  {w.called('plant rule')}: {{when: {when}{after}, then: {mapping(draw_effects(s.parts, s.truth))}}}")
    return ["plant:", *lines]


def people(w: Writer, s: Sketch) -> list[str]:
    """Write what people do; no `if` means always."""
    targets = (*s.parts, *s.panel)
    lines = []
    for _ in range(w.count(0, 3)):
        condition = {} if w.one(True, False, False) else {"if": quoted(w.truth(s.truth, 1))}
        lines.append(rule(w.called("action"), {**condition, "then": mapping(w.effects(targets, s.truth, 1))}))
    return ["people:", *lines] if lines else []


def derived(w: Writer) -> tuple[str, ...]:
    """Draw what faults are derived from; seldom all signals, since each gives several faults."""
    words = w.one((), (), (), ("power",), ("power",), ("restart",), ("timers",), ("timers", "power"), ("restart", "power"),
                  ("outputs",), ("sensors",))  # fmt: skip
    return words if len(words) < 2 or w.one(True, False) else words[::-1]


def faults(w: Writer, s: Sketch, derive: tuple[str, ...]) -> list[str]:
    """Write the faults."""
    lines = [f"  derive: [{', '.join(derive)}]"] if derive else []
    for _ in range(w.one(0, 1, 2)):
        condition = {"if": quoted(w.truth(s.truth, 1))} if w.one(True, False) else {}
        signal = w.one(*s.sensors, *s.outputs, None)
        if signal is None:
            what = {"then": mapping(w.effects(s.parts, s.truth, 1))}
        else:
            where = "sensor" if signal in s.sensors else "output"
            what = {where: signal.name, "stuck": str(w.one(*signal.kind.values))}
        lines.append(rule(w.called("fault"), {**condition, **what}))
    return ["faults:", *lines] if lines else []


def quotient(w: Writer, s: Sketch) -> str:
    """Write a condition that divides by zero in some states, if there is a number to divide by."""
    numbers = [read.name for read in s.truth if read.kind.bounds]
    return f"(2 / {w.one(*numbers)} {w.one('=', '<', '>=')} {w.one(1, 2)})" if numbers else w.truth(s.truth, 1)


def ordering(w: Writer, s: Sketch) -> str:
    """Write a requirement on time or order; a stricter one is more often violated."""
    fragile = [w.fragile and w.one(True, False, False) for _ in range(3)]
    a, b, c = (quoted(quotient(w, s) if divides else w.truth(s.truth, 1)) for divides in fragile)
    if w.one(True, True, False):
        let_off = w.one("", "", f", unless: {c}")
        return f"when: {a}, within: {w.one(0, 1, 1, 2, 3)} s, then: {b}{let_off}"
    forgets = w.one("", f", since: {c}")
    return f"before: {a}, first: {b}{forgets}"


def properties(w: Writer, s: Sketch, command_names: list[str]) -> list[str]:
    """Write hazards and requirements. Their conditions always have a value."""
    sturdy = Writer(w.draw, fragile=False)
    lines = ["hazards:"]
    lines += [f"  H{i}: {{must not be: {quoted(sturdy.truth(s.truth))}}}" for i in range(w.count(1, 2))]
    asked = []
    for _ in range(w.count(0, 3)):
        goal = quoted(sturdy.truth(s.truth, 1))
        forms = [f"reachable: {goal}", f"recoverable: {goal}", f"only: [], makes: {goal}"]
        if command_names:
            forms += [f"forbid: {w.one(*command_names)}, while: {goal}"] * 3
            forms += [f"only: [{w.one(*command_names)}], makes: {goal}"]
        asked.append(w.one(*forms, ordering(sturdy, s), ordering(sturdy, s)))
    lines += ["requirements:"] * bool(asked)
    return lines + [f"  R{i}: {{{form}}}" for i, form in enumerate(asked)]


def orders(w: Writer, s: Sketch) -> list[str]:
    """Write requirements on time or order and no others. Some of their conditions have no value somewhere."""
    writer = Writer(w.draw, fragile=w.one(True, False))
    return ["requirements:", *(f"  R{i}: {{{ordering(writer, s)}}}" for i in range(w.count(1, 3)))]


@st.composite
def machines(draw: st.DrawFn, *, with_faults: bool = True, with_orders_only: bool = False) -> str:
    """A small random sequence file that must be accepted, of any behaviour. *with_orders_only*: see `orders`."""
    w = Writer(draw, fragile=draw(st.sampled_from([True, False, False])))
    derive = derived(w) if with_faults else ()
    parts = w.declared(f"part_{i}" for i in range(w.count(1, 2)))
    panel = tuple(Named(f"panel_{i}", w.one(TRUTH, STATES[0])) for i in range(w.one(0, 1, 1)))
    outputs = w.declared(f"output_{i}" for i in range(w.count(1, 2)))
    memory = w.declared(f"memory_{i}" for i in range(w.one(0, 1)))
    sensor_lines, sensors = w.sensors((*parts, *parts, *outputs, *panel))
    timer_lines, timers = w.timers((*sensors, *panel, *outputs, *memory))
    s = Sketch(parts, panel, outputs, memory, sensors, timers)
    command_lines, names = commands(w, s)
    lines = ["machine: A random machine"]
    lines += w.section("parts", parts) + w.section("panel", panel) + sensor_lines
    lines += w.section("outputs", outputs, derive) + w.section("memory", memory, derive) + timer_lines
    lines += command_lines + trips(w, s) + plant(w, s) + people(w, s)
    lines += faults(w, s, derive) if with_faults else []
    lines += orders(w, s) if with_orders_only else properties(w, s, names)
    return "\n".join(lines) + "\n"
