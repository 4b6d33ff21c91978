"""Writes the instructions that judge a block of settled states and give out where each step leads."""

from collections.abc import Sequence
from enum import Enum

from msgspec import Struct, field

from seqcheck.model.expression import TRUE, Expression, Load, reads
from seqcheck.model.model import Forbid, Hazard, Model, Observed, Only, Program, Reachable, Recoverable, Timer, TimerKind
from seqcheck.search.packed import operations as o
from seqcheck.search.packed.bounds import TRUTH, Bounds
from seqcheck.search.packed.frame import BLOCKED, LEADS
from seqcheck.search.packed.layout import WORD, Layout
from seqcheck.search.packed.lowering import Lane, Listing, Lowering
from seqcheck.search.packed.settling import Concern, Sites, Slots

MOST_NOTED = 1 << 20
WORD_ONES = (1 << WORD) - 1


class Purpose(Enum):
    """What a program is for: the search itself; only where steps lead; which states have a condition."""

    EXPLORE = "explore"
    MOVES = "moves"


class Building(Struct):
    """How a step builds successors: for each word of state and flags the bits kept, the bits put in, and whether more come."""

    kept: list[int]
    put: list[int]
    more: list[bool]


class Expanding(Struct):
    """Writes the expanding program of one model."""

    model: Model
    layout: Layout
    slots: Slots
    sites: Sites
    concern: Concern
    purpose: Purpose
    listing: Listing = field(default_factory=Listing)
    buildings: list[Building] = field(default_factory=list)
    _at: dict[int, Lane] = field(default_factory=dict)
    _spared: dict[int, Lane] = field(default_factory=dict)

    @property
    def flag_words(self) -> int:
        """Words of flags behind a state in the queue: a bit for each `only`, one for each timer."""
        return -(-(len(self.slots.onlys) + len(self.model.timers)) // WORD)

    @property
    def _lowering(self) -> Lowering:
        return Lowering(self.model, self.listing, self._at)

    def write(self, watches: Sequence[Expression]) -> Listing:
        """Return the program; *buildings* then has an entry for each step, for a tick and for a start."""
        self._unpack()
        if self.purpose is Purpose.EXPLORE:
            self._enter()
            self._judge()
            for number, test in enumerate(watches):
                self._look_for(self.slots.watched(number), test)
        for number in range(len(self.model.steps)):
            self._step(number)
        self._tick()
        self.buildings.append(self._start())
        self.listing.act(o.END, 0, 0, 0, 0, 0)
        return self.listing

    def write_goal(self, test: Expression) -> Listing:
        """Return a program that marks the states that have a condition."""
        self._unpack()
        self.listing.act(o.MARK, 0, self._lowering.truth(test).value.register, 0, 0, LEADS)
        self.listing.act(o.END, 0, 0, 0, 0, 0)
        return self.listing

    def _unpack(self) -> None:
        for place, f in enumerate(self.layout.fields):
            bounds = Bounds(self.model.variables[place].lowest, self.model.variables[place].highest)
            if f.bits == 0:
                self._at[place] = self.listing.constant(f.lowest)
            else:
                self._at[place] = self.listing.value(o.UNPACK, bounds, f.word, f.shift, f.mask, f.lowest)

    def _enter(self) -> None:
        """Note the values of each variable. The bytes of a variable's values follow those of the variable before."""
        first = 0
        for place, size in enumerate(entered_sizes(self.model)):
            if size:
                lowest = self.model.variables[place].lowest
                self.listing.act(o.ENTER, 0, self._at[place].register, place, lowest, first)
            first += size

    def _judge(self) -> None:
        """Judge the states themselves."""
        for number, p in enumerate(self.model.properties):
            match p.rule:
                case Hazard(must_not_be=guard) | Observed(violated=guard):
                    self._look_for(self.slots.found(number), guard.test, self.slots.unjudged(number))
                case Only(makes=guard):
                    self._spare(number, guard.test)
                case Forbid():
                    self._forbid(number, p.rule)
                case Reachable(goal=guard) if not self.model.faults:
                    self._look_for(self.slots.found(number), guard.test, self.slots.unjudged(number))
                case Reachable(goal=guard) | Recoverable(goal=guard):
                    self._note_missing(guard.test, self.slots.unjudged(number))
                case _:
                    pass

    def _look_for(self, slot: int, test: Expression, unjudged: int | None = None) -> None:
        """Keep the first state that has a condition, and the first in which it has no value."""
        with self.listing.skippable(o.SKIP_FOUND, slot):
            self.listing.act(o.FIRST, 0, self._lowering.truth(test).value.register, -1, 0, slot)
        if unjudged is not None:
            self._note_missing(test, unjudged)

    def _note_missing(self, test: Expression, slot: int) -> None:
        with self.listing.skippable(o.SKIP_FOUND, slot):
            missing = self._lowering.lower(test).missing
            if missing is not None:
                self.listing.act(o.FIRST, 0, missing.register, -1, 0, slot)

    def _spare(self, number: int, test: Expression) -> None:
        """Find where `only` cannot be broken: its condition holds already, or has no value."""
        found = self._lowering.truth(test)
        if found.missing is not None:
            self._note_missing(test, self.slots.unjudged(number))
        both = [found.value] if found.missing is None else [found.value, found.missing]
        self._spared[number] = self._lowering.any_of(both) or found.value

    def _forbid(self, number: int, rule: Forbid) -> None:
        """Judge `forbid`: where a permissive has no value, the command is not accepted."""
        slot = self.slots.found(number)
        with self.listing.skippable(o.SKIP_FOUND, slot):
            accepted = self._lowering.all_of([guard.test for guard in self.model.steps[rule.step].guards])
            during = self._lowering.truth(rule.during.test)
            met = self._lowering.both(accepted.value, during.value)
            self.listing.act(o.FIRST, 0, met.register, -1, 0, slot)
        self._note_missing(rule.during.test, self.slots.unjudged(number))

    def _step(self, number: int) -> None:
        step, low = self.model.steps[number], self._lowering
        ready = low.truth(step.ready).value if step.ready != TRUE else self.listing.constant(1)
        guards = low.all_of([guard.test for guard in step.guards])
        go = low.both(ready, guards.value)
        failing = Failing(self.listing, low)
        if guards.missing is not None:
            failing.where(low.both(ready, guards.missing), self.sites.of("rule", step.name))
        after = dict(self._at)
        self._run(step.program, step.name, go, failing, after)
        if failing.register is not None:
            self.listing.act(o.TROUBLE, 0, failing.register.register, number, 0, 0)
            go = low.both(go, self.listing.value(o.IS_ZERO, TRUTH, failing.register.register, 0, 0, 0))
        written = frozenset(t for assign in step.program for t in assign.targets)
        settles = self.concern.needed and bool(written & self.concern.concerned)
        if not settles and self.purpose is Purpose.EXPLORE:
            self._made(number, go, after, written)
        self._emit(number, go, after, settles=settles)

    def _run(self, program: Program, rule: str, go: Lane, failing: "Failing", after: dict[int, Lane]) -> None:
        """Run a step's program on the values *after*."""
        low = Lowering(self.model, self.listing, after)
        for assign in program:
            found = [low.lower(value) for value in assign.values]
            missing = low.any_of([v.missing for v in found if v.missing is not None])
            if missing is not None:
                failing.where(low.both(go, missing), self.sites.of("rule", rule))
            for target, value in zip(assign.targets, found, strict=True):
                if not assign.bounded:
                    variable = self.model.variables[target]
                    outside = low.outside(value.value, Bounds(variable.lowest, variable.highest))
                    failing.where(low.both(go, outside), self.sites.of("rule", rule, target))
            for target, value in zip(assign.targets, found, strict=True):
                after[target] = value.value

    def _made(self, number: int, go: Lane, after: dict[int, Lane], written: frozenset[int]) -> None:
        """Judge `only` on the successors of a step that need not settle."""
        flags = {flag for sensor in self.model.sensors for flag, _ in sensor.stuck}
        for p in self.slots.onlys:
            rule = self.model.properties[p].rule
            if not isinstance(rule, Only) or number in rule.steps:
                continue
            if (reads(rule.makes.test, self.model.sensor_values) | flags) & written:
                with self.listing.skippable(o.SKIP_FOUND, self.slots.made(p)):
                    low = Lowering(self.model, self.listing, after)
                    made = low.but_not(low.both(go, low.truth(rule.makes.test).value), self._spared[p])
                    self.listing.act(o.FIRST, 0, made.register, number, 0, self.slots.made(p))

    def _emit(self, number: int, go: Lane, after: dict[int, Lane], *, settles: bool) -> None:
        """Give out the successors of the lanes that go."""
        self.buildings.append(building := self._nothing_changed())
        for place, lane in after.items():
            if lane is not self._at[place]:
                self._write_field(building, place, lane)
        if settles and self.purpose is Purpose.EXPLORE:
            for bit, p in enumerate(self.slots.onlys):
                rule = self.model.properties[p].rule
                named = isinstance(rule, Only) and number in rule.steps
                self._write_flag(building, bit, self.listing.constant(1) if named else self._spared[p])
        if go.constant != 0:
            by_all = go.constant is not None and self.layout.words == 1 and not settles
            self.listing.act(o.EMIT, 0, go.register, number, int(settles), int(by_all))

    def _nothing_changed(self) -> Building:
        words, flags = self.layout.words, self.flag_words
        return Building(kept=[WORD_ONES] * words + [0] * flags, put=[0] * (words + flags), more=[False] * (words + flags))

    def _write_field(self, building: Building, place: int, lane: Lane) -> None:
        f = self.layout.fields[place]
        building.kept[f.word] &= ~(f.mask << f.shift)
        if lane.constant is not None:
            building.put[f.word] |= ((lane.constant - f.lowest) & f.mask) << f.shift
        elif f.bits:
            self.listing.act(o.PACK, f.word, lane.register, f.shift, int(not building.more[f.word]), f.lowest)
            building.more[f.word] = True

    def _write_flag(self, building: Building, number: int, lane: Lane) -> None:
        word, bit = self.layout.words + number // WORD, number % WORD
        if lane.constant is not None:
            building.put[word] |= lane.constant << bit
            return
        self.listing.act(o.PACK, word, lane.register, bit, int(not building.more[word]), 0)
        building.more[word] = True

    def _tick(self) -> None:
        """Give out where a tick leads. What is read here has a value in every settled state: settling has read it."""
        model, low = self.model, self._lowering
        number = len(model.steps)
        if not model.timers and not model.clocks:
            self.buildings.append(self._nothing_changed())
            return
        blocked = self._blocked()
        if blocked is not None and self.purpose is Purpose.EXPLORE:
            self.listing.act(o.MARK, 0, blocked.register, 0, 0, BLOCKED)
        after = dict(self._at)
        for clock in model.clocks:
            now = self._at[clock.variable]
            counts = low.both(low.truth(clock.when).value, low.but_not(self.listing.constant(1), low.equal(now, clock.most)))
            after[clock.variable] = self.listing.value(o.ADD, now.bounds, now.register, counts.register, 0, 0)
        counting = [self._counts(timer) for timer in model.timers]
        go = self.listing.constant(1) if blocked is None else low.but_not(self.listing.constant(1), blocked)
        self._emit_tick(number, go, after, counting)

    def _emit_tick(self, number: int, go: Lane, after: dict[int, Lane], counting: Sequence[Lane]) -> None:
        self.buildings.append(building := self._nothing_changed())
        for clock in self.model.clocks:
            self._write_field(building, clock.variable, after[clock.variable])
        onlys = self.slots.onlys if self.purpose is Purpose.EXPLORE else ()
        for bit, p in enumerate(onlys):
            self._write_flag(building, bit, self._spared[p])
        for place, lane in enumerate(counting, len(self.slots.onlys)):
            self._write_flag(building, place, lane)
        self.listing.act(o.EMIT, 0, go.register, number, 1, 0)

    def _blocked(self) -> Lane | None:
        """Return where time must wait for a plant rule; None if it never must."""
        low = self._lowering
        return low.any_of(
            [
                low.both(low.equal(self._at[clock.variable], clock.latest), low.truth(clock.when).value)
                for clock in self.model.clocks
                if clock.latest is not None
            ]
        )

    def _counts(self, timer: Timer) -> Lane:
        """Return where a timer counts the tick."""
        low, now = self._lowering, Load(timer.variable)
        at = low.lower(now).value
        if timer.kind is TimerKind.TP:
            return low.but_not(low.but_not(self.listing.constant(1), low.equal(at, 0)), low.equal(at, timer.pt + 1))
        in_, running = low.truth(timer.input.test).value, low.but_not(self.listing.constant(1), low.equal(at, timer.pt))
        return low.both(running, in_) if timer.kind is TimerKind.TON else low.but_not(running, in_)

    def _start(self) -> Building:
        """Return the flags of a start: no `only` can be broken by it."""
        building = self._nothing_changed()
        for bit in range(len(self.slots.onlys)):
            building.put[self.layout.words + bit // WORD] |= 1 << (bit % WORD)
        return building


def entered_sizes(model: Model) -> tuple[int, ...]:
    """Return for each variable how many values are to be noted one by one; 0 for one with too many."""
    sizes = [variable.highest - variable.lowest + 1 for variable in model.variables]
    return tuple(size if size <= MOST_NOTED else 0 for size in sizes)


class Failing(Struct):
    """Writes where a step fails, into a register that is made when it is first needed."""

    listing: Listing
    lowering: Lowering
    register: Lane | None = None

    def where(self, condition: Lane, site: int) -> None:
        """Note that lanes fail at a site, unless they failed before."""
        if condition.constant == 0:
            return
        if self.register is None:
            self.register = self.listing.fresh(Bounds(0, site))
            self.listing.act(o.COPY, self.register.register, self.listing.constant(0).register, 0, 0, 0)
        self.listing.act(o.FAIL_IF, self.register.register, condition.register, 0, 0, site)
