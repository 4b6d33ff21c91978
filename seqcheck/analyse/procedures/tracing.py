"""Turns what was found into records, each with a way from a start of the machine."""

from collections.abc import Iterator

from msgspec.structs import replace

from seqcheck.analyse.procedures.outcomes import Outcomes
from seqcheck.analyse.procedures.records import Class, Outcome, Refusal, Way
from seqcheck.analyse.procedures.script import NOWHERE, Kind
from seqcheck.analyse.procedures.situations import (
    LOST,
    MAYBE_LOST,
    NO_EFFECT,
    NOTHING,
    OPEN,
    SHIFT,
    STATE,
    WAY_OUT,
    WELL,
    Broken,
    Noted,
    NoValue,
    Refused,
    Situations,
)
from seqcheck.analyse.procedures.witnesses import Found, Look
from seqcheck.analyse.procedures.written import Break, Breaking, Following, Written
from seqcheck.model.model import State
from seqcheck.model.run import StepKind
from seqcheck.search.failing import cause, failure_of

STUCK = {LOST: Class.LOST, MAYBE_LOST: Class.STUCK, WAY_OUT: Class.WAY_OUT}
GOOD = {WELL: Class.WELL, NO_EFFECT: Class.NO_EFFECT}


class Tracer:
    """Writes down what comes of one procedure as written, and of deviations from it."""

    def __init__(self, situations: Situations, following: Following, written: Written) -> None:
        self._situations = situations
        self._following = following
        self._written = written
        self._prefixes: dict[int, Way] = {}

    # --- as written ---
    def breaks(self) -> Iterator[Outcome]:
        """Yield how the procedure breaks, worst first."""
        for breaking in self._written.breaks:
            if breaking.kind is Break.HAZARD:
                yield from self._hazards(breaking)
            else:
                yield self._broken(breaking)

    def _hazards(self, breaking: Breaking) -> Iterator[Outcome]:
        for place, number in enumerate(self._situations.moves.hazards):
            if breaking.bits >> place & 1:
                yield Outcome(met=Class.HAZARD, way=self.prefix(breaking.situation), hazard=number)

    def _broken(self, breaking: Breaking) -> Outcome:
        situation = breaking.situation
        match breaking.kind:
            case Break.NEVER_BEGINS:
                about = "what it begins after never comes to its end"
                return Outcome(met=Class.STUCK, way=self._elsewhere(situation), about=about)
            case Break.NEVER_ENDS:
                return Outcome(met=Class.STUCK, way=self._round(situation), place=self._place(situation))
            case Break.ENDS_OTHERWISE:
                return Outcome(met=Class.STUCK, way=self.prefix(situation), place=self._place(situation))
            case _:
                ((_, noted),) = self._situations.named(breaking.bits)
                if situation == NOWHERE:
                    start: State = self._following.failed_starts[breaking.bits]
                    way = Way(raw_start=start, moves=(), start_fails=True)
                    return Outcome(met=Class.FAILS, way=way, about=self._about(noted))
                return self._noted(noted, self.prefix(situation), situation)

    def _elsewhere(self, situation: int) -> Way | None:
        if situation == NOWHERE:
            return None
        way = self.prefix(situation)
        return replace(way, begins=len(way.moves))

    def _place(self, situation: int) -> int:
        return self._situations.script.cells[situation >> SHIFT].place

    def _round(self, situation: int) -> Way:
        """Return the way to a situation and once round from there, time passing; without the round if nothing can happen."""
        way = self.prefix(situation)
        return replace(way, stuck=len(way.moves), moves=(*way.moves, *round_from(self._situations, situation)))

    # --- deviations ---
    def outcomes(self, look: Look, outcomes: Outcomes) -> tuple[Outcome, ...]:
        """Return all that a deviation can come to, worst first; refusals in the order of the steps refused."""
        found = list(self._outcomes_of(look, outcomes))
        if look.comes_to & OPEN or look.is_open or self._written.stopped is not None:
            found.append(Outcome(met=Class.UNDECIDED, way=None))
        return tuple(sorted(found, key=lambda one: (one.met, one.refusal.place if one.refusal is not None else 0)))

    def _outcomes_of(self, look: Look, outcomes: Outcomes) -> Iterator[Outcome]:
        for place, number in enumerate(self._situations.moves.hazards):
            if look.hazards >> place & 1:
                yield Outcome(met=Class.HAZARD, way=self._way(look.hazard(1 << place)), hazard=number)
        for bit, met in STUCK.items():
            if look.comes_to & bit:
                found = look.note(bit)
                way = self._way(found)
                out = outcomes.way_out(found.situation) if bit == WAY_OUT else []
                way = replace(way, stuck=len(way.moves), moves=(*way.moves, *out))
                place = self._place(found.situation)
                if self._situations.visit(found.situation).stops:
                    yield Outcome(met=met, way=way, about=f"after the refusal at step {place + 1}")
                else:
                    yield Outcome(met=met, way=way, place=place)
        for bit, met in GOOD.items():
            if look.comes_to & bit:
                yield Outcome(met=met, way=self._way(look.note(bit)))
        for bit, noted in self._situations.named(look.comes_to):
            found = look.note(bit)
            yield self._noted(noted, self._way(found), found.situation)

    # --- both ---
    def _noted(self, noted: Noted, way: Way, situation: int) -> Outcome:
        match noted:
            case Refused(place=place, step=step, missing=missing):
                guards = tuple(guard for guard in range(missing.bit_length()) if missing >> guard & 1)
                return Outcome(met=Class.REFUSED, way=way, refusal=Refusal(place=place, step=step, guards=guards))
            case Broken():
                way = replace(way, moves=(*way.moves, self._failing(situation, noted)), fails=True)
                return Outcome(met=Class.FAILS, way=way, about=self._about(noted))
            case NoValue():
                return Outcome(met=Class.FAILS, way=way, about=self._about(noted))

    @staticmethod
    def _about(noted: Noted) -> str:
        match noted:
            case NoValue(of=of, text=text):
                return f"the condition of {of} has no value: {text}"
            case Broken(cause=("settling", *names)):
                return f"settling never ends: {', '.join(f'“{name}”' for name in names)}"
            case Broken(cause=(_, rule, None)):
                return f"“{rule}” divides by zero or the like"
            case Broken(cause=(_, rule, variable)):
                return f"“{rule}” puts {variable} outside its range"
            case _:
                raise AssertionError(noted)

    def _failing(self, situation: int, noted: Broken) -> int:
        """Return the move that is never completed."""
        model, state = self._situations.model, self._situations.moves.states[situation & STATE]
        cell = self._situations.script.cells[situation >> SHIFT]
        tried = [number for number, step in enumerate(model.steps) if step.kind is StepKind.PLANT]
        tried = [cell.step, *tried] if cell.kind in {Kind.DO, Kind.SET} else [*tried, -1]
        for move in tried:
            failure = failure_of(model, state, None if move < 0 else move)
            if failure is not None and cause(failure) == noted.cause:
                return move
        raise AssertionError(noted)

    def prefix(self, situation: int) -> Way:
        """Return the cheapest way, as written, to a situation."""
        known = self._prefixes.get(situation)
        if known is None:
            moves: list[int] = []
            begins, at = 0, situation
            while at in self._following.parents:
                at, move = self._following.parents[at]
                if move != NOTHING:
                    moves.append(move)
                    begins += self._situations.script.cells[at >> SHIFT].procedure != self._written.procedure
            known = Way(raw_start=self._following.raw[at & STATE], moves=tuple(reversed(moves)), begins=begins)
            self._prefixes[situation] = known
        return known

    def _way(self, found: Found) -> Way:
        before = self.prefix(found.entry)
        return replace(before, moves=(*before.moves, *(move for move in found.moves if move != NOTHING)))


def round_from(situations: Situations, situation: int) -> list[int]:
    """Return moves that lead from a situation back to it within its cell, time passing; empty if there are none."""
    cell = situation >> SHIFT
    parents: dict[tuple[int, bool], tuple[tuple[int, bool], int]] = {}
    pending = [(situation, False)]
    for at in pending:
        for move, after in situations.visit(at[0]).moves:
            node = after, at[1] or move < 0
            if node in parents or after >> SHIFT != cell or situations.visit(after).hazards:
                continue
            parents[node] = (at, move)
            pending.append(node)
    moves: list[int] = []
    node = situation, True
    while node in parents and (node != (situation, False)):
        node, move = parents[node]
        moves.append(move)
    return moves[::-1]
