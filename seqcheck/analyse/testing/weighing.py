"""Follows each trail through all that the machine may do: what it shows on its way, and how far that hangs on timing."""

from collections.abc import Callable, Iterator

from msgspec import Struct, field

from seqcheck.analyse.procedures.moving import Moves
from seqcheck.analyse.testing.following import Follower, Lasting, States, Waited
from seqcheck.analyse.testing.goals import COMMAND, TRIP
from seqcheck.analyse.testing.records import Item, Timing
from seqcheck.analyse.testing.script import Doing, Entry, script
from seqcheck.analyse.testing.showing import Showing
from seqcheck.analyse.testing.trails import Trail

CLASSES = {
    Timing.ANY: 0,
    Timing.WITHIN: 0,
    Timing.PROMPT: 1,
    Timing.OPEN: 1,
    Timing.AT_ONCE: 2,
    Timing.LUCK: 3,
    Timing.UNKNOWN: 4,
}
"""What is as good as something else when tests are chosen."""


class Check(Struct, frozen=True, kw_only=True):
    """An item that a trail shows: at an entry of its script, a refusal before it. *seen*: it cannot be mistaken for nothing.

    *lasting* is how long it stays so, *worst* the worst timing up to it.
    """

    item: Item
    entry: int
    worst: Timing
    lasting: Lasting
    seen: bool

    @property
    def quality(self) -> tuple[bool, bool, int]:
        """How good it is, best first: luck is worse than that nothing would be seen to change."""
        grade = CLASSES[self.worst]
        return (grade >= CLASSES[Timing.LUCK], not self.seen, grade)


class Weighed(Struct, frozen=True, kw_only=True):
    """A trail with its script and its checks. *prompt*: the tester does not wait but where the script says so."""

    trail: Trail
    prompt: bool
    entries: tuple[Entry, ...]
    checks: tuple[Check, ...]


class Stand(Struct, kw_only=True):
    """Where the machine may be as a tester comes to the next entry, and the worst timing up to it."""

    states: States
    prompt: bool = False
    worst: Timing = Timing.ANY


class Weighing(Struct, kw_only=True):
    """Weighs the trails of one machine; what trails have in common is followed once."""

    showing: Showing
    moves: Moves
    follower: Follower
    lastings: dict[tuple[States, object], Lasting] = field(default_factory=dict)

    def weigh(self, trail: Trail) -> Iterator[Weighed]:
        """Yield a trail with all that it shows to a tester who takes any time; and to a prompt one, if that shows more."""
        entries = script(self.showing.model, self.moves, trail)
        patient = tuple(self._checks(trail, entries, prompt=False))
        yield Weighed(trail=trail, prompt=False, entries=entries, checks=patient)
        if any(CLASSES[check.worst] > CLASSES[Timing.PROMPT] for check in patient):
            checks = tuple(self._checks(trail, entries, prompt=True))
            yield Weighed(trail=trail, prompt=True, entries=entries, checks=checks)

    def _checks(self, trail: Trail, entries: tuple[Entry, ...], *, prompt: bool) -> Iterator[Check]:
        stand = Stand(states=frozenset(trail.states[:1]), prompt=prompt, worst=Timing.PROMPT if prompt else Timing.ANY)
        for number, entry in enumerate(entries):
            yield from self.refusals(stand, trail.states[entry.first], number)
            if entry.doing is Doing.ACT:
                yield from self._acting(stand, trail, number, entry)
            else:
                yield from self._waiting(stand, trail, number, entry)
        yield from self.refusals(stand, trail.states[-1], len(entries))

    # --- refusals ---
    def refusals(self, stand: Stand, state: int, entry: int) -> Iterator[Check]:
        """Yield what can be refused where a tester stands."""
        for item in self.showing.refusals(state):
            lasting = self.refused(stand.states, item)
            seen = self.showing.would_be_seen(item.number, state)
            yield Check(item=item, entry=entry, worst=max(stand.worst, lasting.timing), lasting=lasting, seen=seen)

    def refused(self, states: States, item: Item) -> Lasting:
        """Tell how long a permissive alone refuses its command."""
        bit = -(1 << item.place)
        return self.lasting(states, item, lambda state: self.moves.step(item.number, state) == bit)

    def lasting(self, states: States, key: object, fits: Callable[[int], bool]) -> Lasting:
        """Tell how long something that *key* stands for stays so."""
        known = self.lastings.get((states, key))
        if known is None:
            known = self.lastings[states, key] = self.follower.lasting(states, fits)
        return known

    # --- steps ---
    def possible(self, states: States, step: int) -> Lasting:
        """Tell how long a step is possible."""
        return self.lasting(states, step, lambda state: self.moves.step(step, state) >= 0)

    def _acting(self, stand: Stand, trail: Trail, number: int, entry: Entry) -> Iterator[Check]:
        lasting = self.possible(stand.states, entry.step)
        yield from self.shown(stand, trail, number, entry)
        self.advance(stand, entry, lasting)

    def shown(self, stand: Stand, trail: Trail, number: int, entry: Entry) -> Iterator[Check]:
        """Yield what a tester's step shows: a command accepted, trips that act."""
        before, after = trail.states[entry.first], trail.states[entry.last]
        step = self.showing.model.steps[entry.step]
        items = list(self.showing.trips(before, entry.step))
        if entry.step in self.showing.commands:
            written = {target for assign in step.program for target in assign.targets}
            old, new = self.moves.states[before], self.moves.states[after]
            items.append((Item(COMMAND, entry.step), any(old[place] != new[place] for place in written)))
        for item, seen in items:
            lasting = self._comes_out(stand.states, entry.step, self.effects(item, after), seen=seen)
            yield Check(item=item, entry=number, worst=max(stand.worst, lasting.timing), lasting=lasting, seen=seen)

    def effects(self, item: Item, after: int) -> tuple[tuple[int, int], ...]:
        """Return the variables and values by which an item is seen in the state after it."""
        if item.sort == TRIP:
            return ((item.place, self.moves.states[after][item.place]),)
        written = (target for assign in self.showing.model.steps[item.number].program for target in assign.targets)
        return tuple((place, self.moves.states[after][place]) for place in dict.fromkeys(written))

    def _comes_out(self, states: States, step: int, effects: tuple[tuple[int, int], ...], *, seen: bool) -> Lasting:
        """Tell how long a step shows some effects; *seen*: as a change, not because all was so before."""

        def fits(state: int) -> bool:
            after, before = self.moves.step(step, state), self.moves.states[state]
            if after < 0 or any(self.moves.states[after][place] != value for place, value in effects):
                return False
            return not seen or any(before[place] != value for place, value in effects)

        return self.lasting(states, (step, effects, seen), fits)

    def advance(self, stand: Stand, entry: Entry, lasting: Lasting) -> None:
        """Go on to where a tester's step leads."""
        stand.worst = max(stand.worst, lasting.timing)
        stand.states = self.follower.after(self.done_in(stand, lasting), entry.step)

    def brings(self, stand: Stand, entry: Entry, lasting: Lasting) -> int:
        """Return the bits of the hazards that are met as a tester takes a step, however the machine's timing comes out."""
        at_once = stand.prompt or lasting.timing >= Timing.LUCK
        done = self.follower.at_this_moment(stand.states) if at_once else lasting.states
        return self.follower.met(self.follower.after(done, entry.step))

    def along(self, trail: Trail) -> int:
        """Return the bits of the hazards that may be met by somebody who goes along a trail and takes any time."""
        stand, met = Stand(states=frozenset(trail.states[:1])), 0
        for entry in script(self.showing.model, self.moves, trail):
            if entry.doing is Doing.ACT:
                lasting = self.possible(stand.states, entry.step)
                met |= lasting.hazards | self.brings(stand, entry, lasting)
                self.advance(stand, entry, lasting)
            else:
                met |= self.wait(stand, entry).hazards
        return met

    def named(self, bits: int) -> tuple[str, ...]:
        """Return the ids of hazards."""
        properties = self.showing.model.properties
        return tuple(properties[n].id for place, n in enumerate(self.moves.hazards) if bits >> place & 1)

    def afterwards(self, states: States) -> int:
        """Return the bits of the hazards that are met if nobody does anything any more."""
        return self.lasting(states, "afterwards", lambda _: True).hazards

    def done_in(self, stand: Stand, lasting: Lasting) -> States:
        """Return in which states a tester may do something that stays possible for so long."""
        if not stand.prompt or lasting.timing >= Timing.LUCK:
            return lasting.states
        return frozenset(self.follower.at_this_moment(stand.states))

    # --- waits ---
    def _waiting(self, stand: Stand, trail: Trail, number: int, entry: Entry) -> Iterator[Check]:
        tripped = self.tripped(trail, entry)
        there = {item for item, _ in tripped if self.is_there(stand.states, item, trail.states[entry.last])}
        self.wait(stand, entry)
        standing = Lasting(timing=stand.worst, ticks=None, states=stand.states)
        for item, seen in tripped:
            worst = max(stand.worst, Timing.LUCK) if item in there else stand.worst
            yield Check(item=item, entry=number, worst=worst, lasting=standing, seen=seen)

    def is_there(self, states: States, item: Item, after: int) -> bool:
        """Tell whether what a trip writes may be there before the wait that it is to end."""
        value = self.moves.states[after][item.place]
        return any(self.moves.states[state][item.place] == value for state in states)

    def tripped(self, trail: Trail, entry: Entry) -> tuple[tuple[Item, bool], ...]:
        """Return what a wait shows: trips that act as it ends."""
        if entry.doing is not Doing.UNTIL:
            return ()
        return self.showing.trips(trail.states[entry.last - 1], trail.moves[entry.last - 1])

    def wait(self, stand: Stand, entry: Entry) -> Waited:
        """Let time pass as an entry says; return how long that can take."""
        if entry.doing is Doing.UNTIL:
            waited = self.follower.until(stand.states, entry.end)
        else:
            waited = self.follower.let(stand.states, entry.ticks)
        stand.worst = max(stand.worst, waited.timing)
        stand.states = waited.states
        return waited
