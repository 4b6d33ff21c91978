"""Writes the rows of one test: what a tester does, what is expected, in what time, with what energy condition."""

from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.testing.demands import RECORD, deadlines, one_line, places, requirement, written_by
from seqcheck.analyse.testing.energies import Energies, Proposed
from seqcheck.analyse.testing.following import Lasting, States
from seqcheck.analyse.testing.goals import PERMISSIVE, TRIP
from seqcheck.analyse.testing.records import Energy, Kind, Row, Timing
from seqcheck.analyse.testing.script import Doing, Entry, seen_change
from seqcheck.analyse.testing.trails import TICK
from seqcheck.analyse.testing.weighing import Check, Stand, Weighed, Weighing
from seqcheck.analyse.testing.windows import narrowed
from seqcheck.analyse.testing.wording import Words
from seqcheck.model.model import Model, State
from seqcheck.model.run import By, RunStep, StepKind

UNSEEN = " If it were accepted, nothing of that would be different in the end: only the indication of the refusal shows this."
UNCHANGED = " Nothing is seen to change."
NOT_ALONE = " Something else would do the same at this moment: this row does not show that this trip does it."


class Steps(Struct, kw_only=True):
    """The steps of a recorded run, handed out as the moves of its trail are used up."""

    steps: Sequence[RunStep]
    at: int = 0

    def next(self, moves: int) -> tuple[RunStep, ...]:
        """Return the steps that so many moves stand for: a stretch of waiting stands for as many as it has ticks."""
        first = self.at
        while moves > 0:
            step = self.steps[self.at]
            moves -= step.ticks if step.by.kind is StepKind.WAIT else 1
            self.at += 1
        return tuple(self.steps[first : self.at])


class Writing(Struct, kw_only=True):
    """The writing of one test; *chosen* are the checks made, by entry."""

    weighing: Weighing
    energies: Energies
    weighed: Weighed
    chosen: Mapping[int, Sequence[Check]]
    steps: Steps
    name: str
    done: int = 0

    @property
    def model(self) -> Model:
        """The machine."""
        return self.weighing.showing.model

    @property
    def words(self) -> Words:
        """What speaks of it."""
        return Words(model=self.model)

    def state(self, place: int) -> State:
        """Return a state of the trail."""
        return self.weighing.moves.states[self.weighed.trail.states[place]]

    def rows(self) -> tuple[Row, ...]:
        """Write the rows up to the last check."""
        stand = Stand(states=frozenset(self.weighed.trail.states[:1]), prompt=self.weighed.prompt)
        written = list(self._rows(stand))
        written[-1:] = [self._left_so(row, stand) for row in written[-1:]]
        rows = narrowed(tuple(written), self.words, prompt=self.weighed.prompt)
        return tuple(replace(row, id=f"{self.name}.{number}") for number, row in enumerate(rows, start=1))

    def _rows(self, stand: Stand) -> Iterator[Row]:
        """Write them, following all that the machine may do once more, now with the checks that are made."""
        last = max(self.chosen, default=-1)
        for number, entry in enumerate(self.weighed.entries):
            yield from self._refusals(stand, number, entry.first)
            shown = [check for check in self.chosen.get(number, ()) if check.item.sort != PERMISSIVE]
            if number > last or (number == last and not shown):
                return
            yield self._acting(stand, entry, shown) if entry.doing is Doing.ACT else self._waiting(stand, entry, shown)
        yield from self._refusals(stand, len(self.weighed.entries), len(self.weighed.trail.states) - 1)

    def _refusals(self, stand: Stand, number: int, place: int) -> Iterator[Row]:
        for check in self.chosen.get(number, ()):
            if check.item.sort == PERMISSIVE:
                lasting = self.weighing.refused(stand.states, check.item)
                row = self._refusal(check, place, lasting)
                yield self._timed(row, self._prompt(stand, lasting.timing), lasting.ticks, lasting.hazards)

    @staticmethod
    def _prompt(stand: Stand, timing: Timing) -> Timing:
        return max(timing, Timing.PROMPT) if stand.prompt else timing

    def _refusal(self, check: Check, place: int, lasting: Lasting) -> Row:
        item, before = check.item, self.state(place)
        step = self.model.steps[item.number]
        guard = step.guards[item.place]
        stays = self.words.stays(places(self.model, replace(item, sort="command")), before)
        expected = f"Refused, because it is not so that “{guard.name}” ({one_line(guard.text)})."
        expected += f" Nothing changes: {stays}." if stays else " Nothing changes."
        proposed = self.energies.of_refusal(item, {self.weighed.trail.states[place], *lasting.states})
        return Row(
            kind=Kind.REFUSED,
            requirement=requirement(self.model, item, before),
            action=f"Try the command “{step.name}”.",
            expected=expected + ("" if check.seen else UNSEEN),
            energy=proposed.energy,
            why_energy=proposed.why,
            tried=By(kind=StepKind.COMMAND, name=step.name),
            items=(item,),
            refused_by=guard.name,
        )

    def _acting(self, stand: Stand, entry: Entry, shown: Sequence[Check]) -> Row:
        weighing, trail = self.weighing, self.weighed.trail
        wanted = {check.item for check in shown}
        again = [check.lasting for check in weighing.shown(stand, trail, 0, entry) if check.item in wanted]
        worst = max(again or [weighing.possible(stand.states, entry.step)], key=lambda one: (one.timing, -(one.ticks or 0)))
        brought = weighing.brings(stand, entry, worst)
        weighing.advance(stand, entry, worst)
        done = {self.weighed.trail.states[entry.first], *worst.states}
        row = self._row(entry, shown, self.words.step(entry.step), (entry.first, entry.step, done), stand.states)
        return self._timed(row, self._prompt(stand, worst.timing), worst.ticks, worst.hazards | brought)

    def _waiting(self, stand: Stand, entry: Entry, shown: Sequence[Check]) -> Row:
        begun = {self.weighed.trail.states[entry.first], *stand.states}
        items = [check.item for check in shown]
        there = any(self.weighing.is_there(stand.states, item, self.weighed.trail.states[entry.last]) for item in items)
        waited = self.weighing.wait(stand, entry)
        row = self._row(entry, shown, self.words.waiting(entry, self.state(entry.last)), (entry.last - 1, TICK, begun))
        allowed = self.words.allowed(waited.least, waited.most) if entry.doing is Doing.UNTIL else ""
        limit = "; ".join(text for text in (allowed, row.limit) if text)
        row = replace(row, limit=limit, least_ticks=waited.least, most_ticks=waited.most)
        return self._timed(row, max(waited.timing, Timing.LUCK) if there else waited.timing, None, waited.hazards)

    def _row(
        self, entry: Entry, shown: Sequence[Check], action: str, done: tuple[int, int, set[int]], left: States = frozenset()
    ) -> Row:
        """Write a row; *done*: from which place of the trail, by what move, in which states; *left*: where it may lead."""
        place, move, states = done
        model, before, after = self.model, self.state(place), self.state(entry.last)
        every, _ = seen_change(model, before, after)
        changed = tuple(n for n in every if all(self.weighing.moves.states[state][n] == after[n] for state in left))
        seen = dict.fromkeys((*(p for check in shown for p in places(model, check.item)), *changed))
        trips = [check for check in shown if check.item.sort == TRIP]
        asked = tuple(deadlines(model, before, after)) if trips else ()
        proposed = self._energy([check for check in trips if check.seen], states, move)
        return Row(
            kind=Kind.STEP if not shown else Kind.TRIP if trips else Kind.ACCEPTED,
            requirement="; ".join(dict.fromkeys(requirement(model, check.item, before) for check in shown)),
            action=action,
            expected=self._expected(shown, changed, after) + self._unsure(set(every) - set(changed) - told(model, shown)),
            limit="" if not trips else "; ".join(text for _, text in asked) or RECORD,
            energy=proposed.energy,
            why_energy=proposed.why,
            steps=self._taken(entry),
            items=tuple(check.item for check in shown),
            effects=tuple((model.variables[n].name, model.variables[n].shown(after[n])) for n in seen) if shown else (),
            deadlines=tuple(id_ for id_, _ in asked),
        )

    def _taken(self, entry: Entry) -> tuple[RunStep, ...]:
        moves, self.done = entry.last - self.done, entry.last
        return self.steps.next(moves)

    def _energy(self, trips: Sequence[Check], states: set[int], move: int) -> Proposed:
        proposed = [self.energies.of_trip(check.item, states, move) for check in trips]
        return next((one for one in proposed if one.energy is Energy.SIMULATED), Proposed(energy=Energy.CHOOSE))

    def _expected(self, shown: Sequence[Check], changed: Sequence[int], after: State) -> str:
        """Say what is to be seen."""
        words, model = self.words, self.model
        trips = dict.fromkeys(check.item.number for check in shown if check.item.sort == TRIP)
        parts = [f"The command is accepted: {self._stands(check, after)}." for check in shown if check.item.sort == "command"]
        for number in trips:
            written = targets_seen(shown, number)
            parts.append(f"The trip “{model.reactions[number].name}” acts: {words.becomes(written, after)}.")
        rest = [place for place in changed if place not in told(model, shown)]
        if rest:
            parts.append(sentence(words.becomes(rest, after)))
        text = " ".join(parts)
        unseen = [check for check in shown if not check.seen]
        text += UNCHANGED if any(check.item.sort == "command" for check in unseen) else ""
        return text + (NOT_ALONE if any(check.item.sort == TRIP for check in unseen) else "")

    def _unsure(self, varying: set[int]) -> str:
        """Say what may come out in one way or another."""
        if not varying:
            return ""
        spoken = self.words.joined([self.model.variables[place].spoken for place in sorted(varying)])
        stands = "stands" if len(varying) == 1 else "stand"
        return f" How {spoken} then {stands} depends on when this is done, and on the machine's timing."

    def _stands(self, check: Check, after: State) -> str:
        written = written_by(self.model, check.item)
        return self.words.joined([f"{self.model.variables[n].spoken} is {self.words.value(n, after)}" for n in written])

    def _timed(self, row: Row, timing: Timing, ticks: int | None, hazards: int) -> Row:
        met = self.weighing.named(hazards)
        why = row.why_energy
        if met:
            why = f"{', '.join(met)} may be met on this row as the machine is. {why}".strip()
        energy = Energy.SIMULATED if met else row.energy
        text = self.words.timing(timing, ticks)
        return replace(row, timing=timing, timing_text=text, within_ticks=ticks, hazards=met, energy=energy, why_energy=why)

    def _left_so(self, row: Row, stand: Stand) -> Row:
        """Return the last row, with the hazards that are met if the machine is then left as it is."""
        left = self.weighing.named(self.weighing.afterwards(stand.states))
        later = tuple(id_ for id_ in left if id_ not in row.hazards)
        if not later:
            return row
        why = f"{row.why_energy} {', '.join(later)} may be met after this row if nobody does anything.".strip()
        return replace(row, hazards=(*row.hazards, *later), energy=Energy.SIMULATED, why_energy=why)


def told(model: Model, shown: Sequence[Check]) -> set[int]:
    """Return the variables by which checks are seen."""
    return {place for check in shown for place in places(model, check.item)}


def targets_seen(shown: Sequence[Check], number: int) -> tuple[int, ...]:
    """Return the variables by which one trip is seen."""
    return tuple(check.item.place for check in shown if check.item.sort == TRIP and check.item.number == number)


def sentence(words: str) -> str:
    """Return words with a capital and a full stop."""
    return words[:1].upper() + words[1:] + "."
