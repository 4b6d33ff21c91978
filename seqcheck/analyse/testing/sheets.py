"""Makes acceptance-test sheets from a model: few tests that together show every permissive, every command and every trip."""

from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct

from seqcheck.analyse.assumptions import assumptions
from seqcheck.analyse.procedures.moving import Moves
from seqcheck.analyse.procedures.recording import take
from seqcheck.analyse.procedures.records import Way
from seqcheck.analyse.record import SHOWN, Memory, record
from seqcheck.analyse.testing.covering import Chosen, cover
from seqcheck.analyse.testing.energies import RULES, Energies
from seqcheck.analyse.testing.flagging import flagged
from seqcheck.analyse.testing.following import Follower
from seqcheck.analyse.testing.goals import items
from seqcheck.analyse.testing.reasons import reason
from seqcheck.analyse.testing.records import Cover, Item, Kind, Restoring, Row, Sheets, SheetTest
from seqcheck.analyse.testing.restoring import WaysBack
from seqcheck.analyse.testing.rows import Steps, Writing
from seqcheck.analyse.testing.script import Doing, script
from seqcheck.analyse.testing.second_look import Looked, look_again
from seqcheck.analyse.testing.showing import Showing
from seqcheck.analyse.testing.trails import Found, Trail, moves_along, searched
from seqcheck.analyse.testing.weighing import Check, Weighed, Weighing
from seqcheck.analyse.testing.wording import Words
from seqcheck.model.model import Model
from seqcheck.model.run import Run
from seqcheck.search.engine import Limits, Observer, Trace

TEST = (
    "A test is one run from the start condition with the checks made on its way: the shortest run to a situation in which "
    "something can be shown, and all else that can be shown as well on that run. So few tests as stated are needed out of "
    "these runs; a longer run could join several."
)

RESTORED = "while the start condition is restored"


def sheets_of(model: Model, limits: Limits, observer: Observer) -> Sheets:
    """Return the sheets of a model without faults, by one search: the same for the same model. Raises `Disagreement`."""
    moves = Moves(model)
    got = searched(model, moves, limits, observer)
    weighing = Weighing(showing=Showing(model, moves), moves=moves, follower=Follower(moves))
    return _Making(model=model, moves=moves, got=got, weighing=weighing, limits=limits, observer=observer).sheets()


class _Making(Struct, kw_only=True):
    """The making of one machine's sheets."""

    model: Model
    moves: Moves
    got: Found
    weighing: Weighing
    limits: Limits
    observer: Observer
    looked: Looked = Looked(trails=(), complete=True)

    def sheets(self) -> Sheets:
        weighed = [one for trail in self.got.trails for one in self.weighing.weigh(trail)]
        best = best_checks(weighed)
        missing = [item for item in items(self.model) if item not in best]
        looked = look_again(self.got, self.weighing.showing, missing)
        if not looked.complete and self.got.stopped is None:
            looked = self._by_flags([item for item in missing if item.number in self.got.acted])
        weighed += [one for trail in looked.trails for one in self.weighing.weigh(trail)]
        self.looked = looked
        best = best_checks(weighed)
        numbers = {item: number for number, item in enumerate(items(self.model))}
        sets = [frozenset(numbers[item] for item in good(one, best)) for one in weighed]
        chosen = cover(sets, [len(one.entries) for one in weighed])
        tests = tuple(self._tests([weighed[n] for n in chosen.sets], best))
        return self._whole(tests, chosen, len(self.got.trails), best)

    def _by_flags(self, missing: Sequence[Item]) -> Looked:
        """Look for trips on a machine that is too large to be looked at step by step."""
        from seqcheck.search.planner.planner import Alone

        found = flagged(self.model, self.moves, missing, Alone("symbolic"), (self.limits, self.observer))
        return Looked(trails=found.trails, complete=False, never=found.never)

    def _whole(self, tests: tuple[SheetTest, ...], chosen: Chosen, count: int, best: Mapping[Item, Check]) -> Sheets:
        return Sheets(
            machine=self.model.name,
            revision=self.model.revision,
            tests=tests,
            covers=tuple(self._covers(tests, best)),
            candidates=count,
            greedy=chosen.greedy,
            fewest=chosen.fewest,
            assumptions=assumptions(self.model),
            rules=(TEST, *RULES),
            engine=self.got.engine,
            states=self.got.states,
            stopped=self.got.stopped,
        )

    # --- tests ---
    def _tests(self, weighed: Sequence[Weighed], best: Mapping[Item, Check]) -> Iterator[SheetTest]:
        """Write the tests; each item is shown once, by the first test that can."""
        ways, memory = WaysBack(self.model, self.moves, self.got), Memory()
        energies = Energies(showing=self.weighing.showing)
        shown: set[Item] = set()
        for number, one in enumerate(weighed, start=1):
            chosen: dict[int, list[Check]] = {}
            for item, check in good(one, best).items():
                if item not in shown:
                    shown.add(item)
                    chosen.setdefault(check.entry, []).append(check)
            trail = _up_to(one, max(chosen, default=0), chosen)
            run = self._run(trail, memory)
            writing = Writing(
                weighing=self.weighing,
                energies=energies,
                weighed=one,
                chosen=chosen,
                steps=Steps(steps=run.steps),
                name=f"T{number}",
            )
            yield self._test(number, trail, run, writing.rows(), self._restoring(ways, trail, memory))

    def _run(self, trail: Trail, memory: Memory) -> Run:
        """Record a trail by the plain definition: quickly, if its moves are those that are tried first anyway."""
        if trail.moves == moves_along(self.moves, trail.states):
            states = tuple(self.moves.states[number] for number in trail.states)
            return record(self.model, Trace(raw_start=trail.raw_start, states=states), memory)[0]
        return take(self.model, Way(raw_start=trail.raw_start, moves=trail.moves), memory).run

    def _test(self, number: int, trail: Trail, run: Run, rows: tuple[Row, ...], restoring: Restoring) -> SheetTest:
        words = Words(model=self.model)
        start = self.moves.states[trail.states[0]]
        visible = [n for n, variable in enumerate(self.model.variables) if variable.kind in SHOWN]
        return SheetTest(
            id=f"T{number}",
            title=title(rows, words),
            start=tuple(f"{self.model.variables[n].spoken} {words.value(n, start)}" for n in visible),
            rows=rows,
            run=run,
            end=self.moves.states[trail.states[-1]],
            restoring=restoring,
            cautions=tuple(self._cautions(rows, restoring)),
        )

    def _cautions(self, rows: Sequence[Row], restoring: Restoring) -> Iterator[str]:
        texts = {p.id: p.text for p in self.model.properties}
        met = {id_ for row in rows for id_ in row.hazards}
        for id_ in sorted({*met, *restoring.hazards}):
            when = [*(["on this test"] if id_ in met else []), *([RESTORED] if id_ in restoring.hazards else [])]
            yield f"{id_} may be met {' and '.join(when)} as the machine is: {texts[id_]}"

    def _restoring(self, ways: WaysBack, trail: Trail, memory: Memory) -> Restoring:
        way = ways.way(trail.states[-1])
        if way is None:
            return Restoring(lines=("Not found: restore by hand, under the eyes of somebody competent.",), found=False)
        if len(way) == 1:
            return Restoring(lines=("Nothing to do: it is as at the start.",), found=True)
        words = Words(model=self.model)
        back = Trail(raw_start=trail.raw_start, states=way, moves=moves_along(self.moves, way))
        lines = [
            words.step(entry.step) if entry.doing is Doing.ACT else words.waiting(entry, self.moves.states[way[entry.last]])
            for entry in script(self.model, self.moves, back)
        ]
        whole = Trail(raw_start=trail.raw_start, states=(*trail.states, *way[1:]), moves=(*trail.moves, *back.moves))
        run = self._run(whole, memory)
        hazards = self.weighing.named(self.weighing.along(back))
        numbered = [f"{n}. {line}" for n, line in enumerate(lines, start=1)]
        if hazards:
            met = f"{', '.join(hazards)} may be met on the way as the machine is."
            numbered.insert(0, f"CAUTION: simulated signals only. {met}")
        return Restoring(lines=tuple(numbered), found=True, run=run, hazards=hazards)

    # --- what is covered ---
    def _covers(self, tests: Sequence[SheetTest], best: Mapping[Item, Check]) -> Iterator[Cover]:
        words = Words(model=self.model)
        rows = {item: row for test in tests for row in test.rows for item in row.items}
        for item in items(self.model):
            if item in rows:
                row = rows[item]
                yield Cover(item=item, text=words.item(item), row=row.id, timing=row.timing, alone=best[item].seen)
            else:
                why, is_open = reason(self.model, self.got, item, complete=self.looked.complete or item in self.looked.never)
                yield Cover(item=item, text=words.item(item), reason=why, is_open=is_open)


def best_checks(weighed: Sequence[Weighed]) -> dict[Item, Check]:
    """Return the best check of each item that any trail shows."""
    best: dict[Item, Check] = {}
    for one in weighed:
        for check in one.checks:
            if check.item not in best or check.quality < best[check.item].quality:
                best[check.item] = check
    return best


def good(one: Weighed, best: Mapping[Item, Check]) -> dict[Item, Check]:
    """Return the items that a trail shows as well as any does, each with its first such check."""
    found: dict[Item, Check] = {}
    for check in one.checks:
        if check.quality == best[check.item].quality:
            found.setdefault(check.item, check)
    return found


def _up_to(one: Weighed, last: int, chosen: Mapping[int, Sequence[Check]]) -> Trail:
    """Return a trail up to its last check."""
    if last >= len(one.entries):
        return one.trail
    entry = one.entries[last]
    acts = any(check.item.sort != "permissive" for check in chosen.get(last, ()))
    end = entry.last if acts else entry.first
    return Trail(raw_start=one.trail.raw_start, states=one.trail.states[: end + 1], moves=one.trail.moves[:end])


def title(rows: Sequence[Row], words: Words) -> str:
    """Say what a test shows."""
    counted = [(Kind.REFUSED, "refusal"), (Kind.ACCEPTED, "accepted command"), (Kind.TRIP, "trip")]
    parts = []
    for kind, name in counted:
        count = sum(row.kind is kind for row in rows)
        if count:
            parts.append(f"{count} {name}{'' if count == 1 else 's'}")
    last = next((row for row in reversed(rows) if row.items), None)
    return words.joined(parts) + (f"; last: {words.item(last.items[0])}" if last is not None else "")
