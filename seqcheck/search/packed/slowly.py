"""Settles by the plain definition what did not come to rest in a few rounds."""

from contextlib import suppress

from msgspec import Struct, field

from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.model import Model, Only, State
from seqcheck.model.run import StepKind
from seqcheck.search.failing import Cause, cause
from seqcheck.search.packed import frame as f
from seqcheck.search.packed.layout import WORD, Packed
from seqcheck.search.packed.settling import concern_of, hazards
from seqcheck.search.packed.visitor import Visitor

Trouble = tuple[Cause, int]
"""What failed, and in what manner: by a step, by a tick, at a start."""


class Slowly(Struct):
    """Takes over from one visitor; *troubles* maps what fails to position and step of the first source."""

    model: Model
    visitor: Visitor
    troubles: dict[Trouble, tuple[int, int]] = field(default_factory=dict)
    _moving: list[tuple[int, Expression]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._moving = hazards(self.model, concern_of(self.model).written)

    def settle_rest(self) -> None:
        """Settle all that the visitor left."""
        slow = self.visitor.slow
        for words, place, step in zip(slow.states, slow.places, slow.steps, strict=True):
            self._settle(words, int(place), int(step))

    def _settle(self, words: Packed, place: int, step: int) -> None:
        program = self.visitor.program
        raw = program.layout.unpack([int(word) for word in words])
        flags = [int(word) for word in words[program.layout.words :]]
        counted = [t.name for n, t in enumerate(self.model.timers) if self._flag(flags, n + len(program.slots.onlys))]
        try:
            settled = semantics.settle(self.model, raw, self._watch, counted=counted)
        except semantics.Failed as failed:
            manner = max(f.BY_STEP, step - program.tick + 1)
            self.troubles.setdefault((cause(failed.failure), manner), (int(self.visitor.frame[f.POSITION]) + place, step))
            self.visitor.marks[place] |= f.FAILED | (f.JAMMED if self._is_plant(step) else 0)
            return
        self._give(settled, flags, place, step)

    def _flag(self, flags: list[int], number: int) -> int:
        return (flags[number // WORD] >> (number % WORD)) & 1

    def _is_plant(self, step: int) -> bool:
        return step < len(self.model.steps) and self.model.steps[step].kind is StepKind.PLANT

    def _give(self, settled: State, flags: list[int], place: int, step: int) -> None:
        packed = self.visitor.program.layout.pack_one(settled)
        is_start = step > self.visitor.program.tick
        if not is_start and bool((packed == self._source(place)).all()):
            return
        self.visitor.give(packed, place, step)
        self.visitor.marks[place] |= f.MOVED | (f.PLANT_MOVED if self._is_plant(step) else 0)
        for bit, number in enumerate(self.visitor.program.slots.onlys):
            rule = self.model.properties[number].rule
            if not self._flag(flags, bit) and isinstance(rule, Only) and self._holds(rule.makes.test, settled):
                slot = self.visitor.program.slots.made(number) + (step == self.visitor.program.tick)
                if self.visitor.found[slot, 0] < 0:
                    self.visitor.found[slot] = int(self.visitor.frame[f.POSITION]) + place, step

    def _source(self, place: int) -> Packed:
        words: Packed = self.visitor.source[place]
        return words

    def _holds(self, test: Expression, state: State) -> bool:
        with suppress(semantics.Impossible):
            return bool(semantics.evaluate(self.model, test, state))
        return False

    def _watch(self, reactions: list[str], values: State) -> None:
        """Note the reactions that act, and the hazards that hold after a round and that settling can make true."""
        slots, notes = self.visitor.program.slots, self.visitor.notes
        for number, reaction in enumerate(self.model.reactions):
            if reaction.name in reactions:
                notes[slots.acted(number)] = 1
        for number, test in self._moving:
            if not notes[slots.passing(number)]:
                notes[slots.passing(number)] = self._holds(test, values)
