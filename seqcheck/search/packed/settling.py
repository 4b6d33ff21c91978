"""Writes the instructions that settle a block of states: before the first round, one round, and after the last.

The values of all variables stand in registers of their own, which the rounds change in place.
"""

from collections.abc import Sequence

from msgspec import Struct, field

from seqcheck.model.expression import Expression, reads
from seqcheck.model.model import Assign, Hazard, Model, Only, Reaction, Timer, TimerKind
from seqcheck.search.packed import operations as o
from seqcheck.search.packed.bounds import TRUTH, Bounds
from seqcheck.search.packed.layout import WORD, Layout
from seqcheck.search.packed.lowering import Lane, Listing, Lowering


class Sites(Struct):
    """Numbers, from 1, the places where something can fail: a rule, and a variable that it may put out of range."""

    numbers: dict[tuple[object, ...], int] = field(default_factory=dict)

    def of(self, *place: object) -> int:
        """Return the number of a place."""
        return self.numbers.setdefault(place, len(self.numbers) + 1)


class Slots(Struct, frozen=True, kw_only=True):
    """Where in the tables of a frame the answers of a model stand."""

    properties: int
    watches: int
    onlys: tuple[int, ...]
    reactions: int

    def found(self, number: int) -> int:
        """Where the first state that settles a property stands."""
        return number

    def unjudged(self, number: int) -> int:
        """Where the first state in which a property's condition has no value stands."""
        return self.properties + number

    def watched(self, number: int) -> int:
        """Where the first state that has a watched condition stands."""
        return 2 * self.properties + number

    def made(self, number: int) -> int:
        """Where the first step against `only` stands; one further, the first tick."""
        return 2 * self.properties + self.watches + 2 * self.onlys.index(number)

    @property
    def size(self) -> int:
        """How many places there are."""
        return 2 * self.properties + self.watches + 2 * len(self.onlys)

    def acted(self, number: int) -> int:
        """The note that a reaction acted."""
        return number

    def passing(self, number: int) -> int:
        """The note that a hazard held while settling."""
        return self.reactions + number


def slots_of(model: Model, watches: int) -> Slots:
    """Return where the answers of a model stand."""
    onlys = tuple(number for number, p in enumerate(model.properties) if isinstance(p.rule, Only))
    return Slots(properties=len(model.properties), watches=watches, onlys=onlys, reactions=len(model.reactions))


class Concern(Struct, frozen=True, kw_only=True):
    """What settling has to do with which variables. *concerned*: one of these must have been written for it to do anything."""

    needed: bool
    written: frozenset[int]
    concerned: frozenset[int]


def concern_of(model: Model) -> Concern:
    """Return what settling a model reads and writes."""
    written = {t for reaction in model.reactions for a in reaction.program for t in a.targets}
    written |= {timer.variable for timer in model.timers}
    read: list[Expression] = [timer.input.test for timer in model.timers]
    read += [clock.when for clock in model.clocks]
    for reaction in model.reactions:
        read += [reaction.when.test, *(value for a in reaction.program for value in a.values)]
    for observer in model.observers:
        read += [value for a in observer.program for value in a.values]
    observing = {t for observer in model.observers for a in observer.program for t in a.targets}
    concerned = written.union(observing, *(reads(expression, model.sensor_values) for expression in read))
    return Concern(
        needed=bool(model.reactions or model.timers or model.clocks or model.observers),
        written=frozenset(written),
        concerned=frozenset(concerned | {clock.variable for clock in model.clocks} | stuck_flags(model)),
    )


def stuck_flags(model: Model) -> set[int]:
    """Return the flags that make a sensor stick."""
    return {flag for sensor in model.sensors for flag, _ in sensor.stuck}


class Settled(Struct, frozen=True, kw_only=True):
    """The program, and where its sections begin; registers *first_counting* and on say which timers count."""

    listing: Listing
    pinned: tuple[int, ...]
    pre: int
    round: int
    post: int
    first_counting: int


class Settling:
    """Writes the settling program of one model."""

    def __init__(self, model: Model, layout: Layout, slots: Slots, sites: Sites) -> None:
        self._model, self._layout, self._slots, self._sites = model, layout, slots, sites
        self._list = Listing()
        self._fail, self._changed, self._has_counting = (self._list.fresh(TRUTH) for _ in range(3))
        self._home = {i: self._list.fresh(Bounds(v.lowest, v.highest)) for i, v in enumerate(model.variables)}
        self._counting = [self._list.fresh(TRUTH) for _ in model.timers]
        self._written = concern_of(model).written
        self._shadow = {place: self._list.fresh(self._home[place].bounds) for place in sorted(self._written)}
        self._lowering = Lowering(model, self._list, self._home)
        self._onlys = len(slots.onlys)

    def write(self) -> Settled:
        """Return the program."""
        pinned = tuple(range(self._list.registers))
        pre = self._list.begin()
        self._before()
        start = self._list.begin()
        self._round()
        post = self._list.begin()
        self._after()
        first = self._counting[0].register if self._counting else 0
        return Settled(listing=self._list, pinned=pinned, pre=pre, round=start, post=post, first_counting=first)

    def _before(self) -> None:
        for place, lane in self._home.items():
            f = self._layout.fields[place]
            self._list.act(o.UNPACK, lane.register, f.word, f.shift, f.mask, f.lowest)
        self._list.act(o.COPY, self._has_counting.register, self._list.constant(0).register, 0, 0, 0)
        for number, lane in enumerate(self._counting):
            self._flag(lane.register, self._onlys + number)
            self._list.act(o.EITHER, self._has_counting.register, self._has_counting.register, lane.register, 0, 0)
        self._moment(self._written, None)
        self._list.act(o.END, 0, 0, 0, 0, 0)

    def _flag(self, register: int, number: int) -> None:
        """Read one of the flags behind a state in the queue."""
        self._list.act(o.UNPACK, register, self._layout.words + number // WORD, number % WORD, 1, 0)

    def _round(self) -> None:
        for place, lane in self._shadow.items():
            self._list.act(o.COPY, lane.register, self._home[place].register, 0, 0, 0)
        for timer, counts in zip(self._model.timers, self._counting, strict=True):
            self._timer(timer, counts)
        self._moment(frozenset(timer.variable for timer in self._model.timers), None)
        for number, reaction in enumerate(self._model.reactions):
            self._reaction(number, reaction)
        differ = [self._differs(self._home[place], lane) for place, lane in self._shadow.items()]
        changed = self._lowering.any_of(differ) or self._list.constant(0)
        self._list.act(o.COPY, self._changed.register, changed.register, 0, 0, 0)
        self._list.act(o.END, 0, 0, 0, 0, 0)

    def _differs(self, one: Lane, other: Lane) -> Lane:
        return self._list.value(o.UNEQUAL, TRUTH, one.register, other.register, 0, 0)

    def _set(self, place: int, value: Lane) -> None:
        self._list.act(o.COPY, self._home[place].register, value.register, 0, 0, 0)
        self._list.forget(self._home[place].register)

    def _fail_if(self, condition: Lane | None, site: int) -> None:
        if condition is not None and condition.constant != 0:
            self._list.act(o.FAIL_IF, self._fail.register, condition.register, 0, 0, site)

    def _timer(self, timer: Timer, counts: Lane) -> None:
        """Bring a timer up to date; in the first round it may count a tick."""
        low, home = self._lowering, self._home[timer.variable]
        in_ = low.truth(timer.input.test)
        self._fail_if(in_.missing, self._sites.of("timer", timer.name))
        now = self._list.value(o.ADD, home.bounds, home.register, counts.register, 0, 0)
        zero, one = self._list.constant(0), self._list.constant(1)
        match timer.kind:
            case TimerKind.TON:
                fresh = low.choose(in_.value, now, zero)
            case TimerKind.TOF:
                fresh = low.choose(in_.value, zero, now)
            case TimerKind.TP:
                over = low.but_not(low.equal(now, timer.pt + 1), in_.value)
                fresh = low.choose(low.both(low.equal(now, 0), in_.value), one, low.choose(over, zero, now))
        self._set(timer.variable, fresh)

    def _reaction(self, number: int, reaction: Reaction) -> None:
        when = self._lowering.truth(reaction.when.test)
        self._fail_if(when.missing, self._sites.of("rule", reaction.name))
        if when.value.constant == 0:
            return
        awake = self._own(when.value)
        with self._list.skippable(o.SKIP_UNLESS, awake.register):
            self._list.act(o.NOTE, 0, awake.register, 0, 0, self._slots.acted(number))
            written = frozenset(t for assign in reaction.program for t in assign.targets)
            for assign in reaction.program:
                self._moment(written, self._assign(reaction.name, assign, awake))

    def _own(self, lane: Lane) -> Lane:
        """Return a value in a register that is no variable's home, so that it outlives a change."""
        if lane not in self._home.values():
            return lane
        copy = self._list.fresh(lane.bounds)
        self._list.act(o.COPY, copy.register, lane.register, 0, 0, 0)
        return copy

    def _assign(self, rule: str, assign: Assign, awake: Lane) -> Lane:
        """Write variables where a reaction is awake; return where any of them changed."""
        low = self._lowering
        found = [low.lower(value) for value in assign.values]
        missing = low.any_of([v.missing for v in found if v.missing is not None])
        if missing is not None:
            self._fail_if(low.both(awake, missing), self._sites.of("rule", rule))
        for target, value in zip(assign.targets, found, strict=True):
            outside = self._list.constant(0) if assign.bounded else low.outside(value.value, self._home[target].bounds)
            self._fail_if(low.both(awake, outside), self._sites.of("rule", rule, target))
        pairs = list(zip(assign.targets, [self._own(v.value) for v in found], strict=True))
        changed = [low.both(awake, self._differs(self._home[target], lane)) for target, lane in pairs]
        for target, lane in pairs:
            self._list.act(o.MOVE_IF, self._home[target].register, awake.register, lane.register, 0, 0)
            self._list.forget(self._home[target].register)
        return low.any_of(changed) or self._list.constant(0)

    def _moment(self, written: frozenset[int], changed: Lane | None) -> None:
        """Note the hazards that hold at a moment before the rest is reached; *changed*: only in those lanes."""
        for number, test in hazards(self._model, written):
            with self._list.skippable(o.SKIP_NOTED, self._slots.passing(number)):
                held = self._lowering.truth(test).value
                if changed is not None:
                    held = self._lowering.both(changed, held)
                self._list.act(o.NOTE, 0, held.register, 0, 0, self._slots.passing(number))

    def _after(self) -> None:
        low, zero = self._lowering, self._list.constant(0)
        for clock in self._model.clocks:
            when = low.truth(clock.when)
            self._fail_if(when.missing, self._sites.of("rule", clock.rule))
            idle = low.but_not(self._list.constant(1), when.value)
            self._list.act(o.MOVE_IF, self._home[clock.variable].register, idle.register, zero.register, 0, 0)
            self._list.forget(self._home[clock.variable].register)
        for observer in self._model.observers:
            for assign in observer.program:
                self._assign(observer.rule, assign, self._list.constant(1))
        onlys = [(number, p.rule) for number, p in enumerate(self._model.properties) if isinstance(p.rule, Only)]
        for bit, (number, rule) in enumerate(onlys):
            self._made(bit, number, rule)
        fields = [(f, self._home[place]) for place, f in enumerate(self._layout.fields) if f.bits]
        self._pack([(f.word, home.register, f.shift, f.lowest) for f, home in fields])
        self._list.act(o.END, 0, 0, 0, 0, 0)

    def _made(self, bit: int, number: int, rule: Only) -> None:
        """Judge `only`: its condition holds now, and the flag says that it did not before and that the step is not named."""
        spared = self._list.fresh(TRUTH)
        self._flag(spared.register, bit)
        made = self._lowering.but_not(self._lowering.truth(rule.makes.test).value, spared)
        self._list.act(o.FIRST_SETTLED, 0, made.register, 0, 0, self._slots.made(number))

    def _pack(self, fields: Sequence[tuple[int, int, int, int]]) -> None:
        begun: set[int] = set()
        for word, register, shift, lowest in fields:
            self._list.act(o.PACK, word, register, shift, int(word not in begun), lowest)
            begun.add(word)
        for word in set(range(self._layout.words)) - begun:
            self._list.act(o.PACK, word, self._list.constant(0).register, 0, 1, 0)


def hazards(model: Model, written: frozenset[int]) -> list[tuple[int, Expression]]:
    """Return the hazards, with their numbers, that writing some variables can make true."""
    return [
        (number, p.rule.must_not_be.test)
        for number, p in enumerate(model.properties)
        if isinstance(p.rule, Hazard) and (reads(p.rule.must_not_be.test, model.sensor_values) | stuck_flags(model)) & written
    ]
