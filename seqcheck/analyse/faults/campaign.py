"""Looks at every set of up to so many faults, by size: what a part of a set brings about need not be asked of the set."""

from collections.abc import Callable, Iterator, Sequence

from msgspec import Struct, field

from seqcheck.analyse.faults.asking import Answer, Question, Recalled, exploration, question
from seqcheck.analyse.faults.collecting import Collector, Reached
from seqcheck.analyse.faults.desk import MOST_TRIES, Desk, Told
from seqcheck.analyse.faults.keeping import checking
from seqcheck.analyse.faults.sets import FaultSet, count_of, fault_sets
from seqcheck.analyse.faults.together import Whole, answers
from seqcheck.analyse.judge import BUILT_IN, Judge
from seqcheck.analyse.observed import observe
from seqcheck.analyse.verdict import Result
from seqcheck.model.model import Elsewhere, Model
from seqcheck.search.engine import Limits


class Machines(Struct, frozen=True, kw_only=True):
    """The machine with any of its faults under study, and with one that observes a requirement, by its id."""

    everything: Model
    studying: Callable[[FaultSet], Model]
    observing: Callable[[str, FaultSet], Model]


class Covered(Struct, frozen=True, kw_only=True):
    """How many of the sets of one size were looked at, or follow from what their parts do."""

    size: int
    done: int
    total: int


class Campaign(Struct, kw_only=True):
    """A campaign over all sets of up to so many faults, its questions given out at a desk.

    *besides* are other questions, asked after the single faults, while somebody may still search all sets at once; their
    answers are in *answered*.
    """

    machines: Machines
    up_to: int
    desk: Desk
    collector: Collector
    covered: list[Covered] = field(default_factory=list)
    besides: Sequence[Question] = ()
    answered: dict[tuple[str, ...], Answer] = field(default_factory=dict)

    def run(self) -> Iterator[Reached]:
        """Look at every set; yield what each newly reaches. Raises `NotOursError`, `NoCrewError` and `CannotKeepError`."""
        totals = [count_of(self.machines.everything, size) for size in range(self.up_to + 1)]
        self.desk.total += sum(totals) + len(self.besides)
        yield from self._recall_together()
        for told in self.desk.search_together_first():
            yield from self.take_together(told)
        for size, total in enumerate(totals):
            before = self.desk.done
            if self.desk.ended is None:
                yield from self._of_size(size)
            self.covered.append(Covered(size=size, done=self.desk.done - before, total=total))
            if size == min(1, self.up_to):
                yield from self._beside()

    def _beside(self) -> Iterator[Reached]:
        """Ask the other questions, as far as their answers are not known; what is said of all sets meanwhile is taken in."""
        left = []
        for asked in self.besides:
            known = self.desk.kept.answers.get(asked.study)
            if known is None:
                left.append(asked)
            else:
                self.answered[asked.study] = known
                self.desk.done += 1
        for told in self.desk.work_off(left, lambda asked: asked):
            if isinstance(told, Told):
                yield from self.take_together(told)
            else:
                self.answered[told.study] = told

    def wholes(self) -> list[Whole]:
        """Return the searches over all sets at once: for most hazards and requirements one, for the others one each."""
        everything = self.machines.everything
        apart = [p.id for p in everything.properties if isinstance(p.rule, Elsewhere)]
        models = [everything, *(self.machines.observing(id_, everything.faults) for id_ in apart)]
        return [Whole(model=model, up_to=self.up_to) for model in models if model.properties]

    def take_together(self, told: Told) -> Iterator[Reached]:
        """Take in what a search over all sets at once came to; yield what is reached. Raises `Disagreement`."""
        if told.found is None:
            return
        if told.whole.about not in self.desk.kept.minimal:
            self.desk.kept.add_minimal(told.whole, told.found)
        for answer in answers(told.whole.model, told.found, self._as(told.whole.model)):
            yield from self._noted(answer)
        self.collector.settle(told.found.found)
        if told.found.none_fails and not told.whole.model.observers:
            self.collector.settle(BUILT_IN)

    def _recall_together(self) -> Iterator[Reached]:
        """Take in again, in the same order, what was known when searches over all sets ended, so that the same runs are shown.

        Raises `NotOursError` if these are none.
        """
        kept, single = self.desk.kept, set(self.machines.everything.faults)
        known = {whole.about: whole for whole in self.desk.wholes if whole.about in kept.minimal}
        for line in kept.found_before if known else ():
            answer, whole = line.answer, known.get(line.whole) if line.whole is not None else None
            if answer is not None and len(answer.study) <= self.up_to and single.issuperset(answer.study):
                with checking(answer.study):
                    reached = list(self._noted(answer))
                yield from reached
            if whole is not None:
                self.desk.wholes.remove(whole)
                with checking(("all sets of faults",)):
                    reached = list(self.take_together(Told(whole=whole, found=line.minimal)))
                yield from reached

    def _as(self, everything: Model) -> Callable[[FaultSet], Model]:
        """Return what gives a machine like one with all faults under study, observed or not, with some of them."""
        if not everything.observers:
            return self.machines.studying
        (p,) = everything.properties
        return lambda faults: self.machines.observing(p.id, faults)

    def _of_size(self, size: int) -> Iterator[Reached]:
        open_sets = []
        for faults in fault_sets(self.machines.everything, size):
            wanted = self.collector.wanted(faults)
            known = self.desk.kept.answers.get(faults)
            if not wanted:
                self.desk.done += 1
            elif known is not None and wanted <= {*known.ids, *BUILT_IN}:
                yield from self._recall(known)
            else:
                open_sets.append(faults)
        for told in self.desk.work_off(open_sets, self._question):
            yield from self.take_together(told) if isinstance(told, Told) else self._noted(told)
        for faults in set(self.desk.lost).intersection(open_sets):
            self.collector.leave_open(faults, f"whoever searched it died, {MOST_TRIES} times")

    def _question(self, faults: FaultSet) -> Question | None:
        wanted = self.collector.wanted(faults)
        return self._about(faults, wanted, wanted) if wanted else None

    def _about(self, faults: FaultSet, ids: frozenset[str], apart: frozenset[str]) -> Question:
        """Return the question about some hazards and requirements, those of *apart* on their own where they need it."""
        model = self.machines.studying(faults)
        alone = [p.id for p in model.properties if isinstance(p.rule, Elsewhere) and p.id in apart]
        return question(model, ids, [self.machines.observing(id_, faults) for id_ in alone])

    def _recall(self, answer: Answer) -> Iterator[Reached]:
        """Take in an answer that was kept. Raises `NotOursError` if its runs are none."""
        self.desk.done += 1
        with checking(answer.study):
            reached = list(self._noted(answer))
        yield from reached

    def _noted(self, answer: Answer) -> Iterator[Reached]:
        wanted = self.collector.wanted(answer.study)
        yield from self.collector.add(answer.study, wanted, self.results(answer))

    def results(self, answer: Answer) -> Iterator[Result]:
        """Yield the results that an answer stands for, each run taken again with the definition. Raises `Disagreement`."""
        asked = self._about(answer.study, frozenset(answer.ids), frozenset(answer.observed))
        yield from Judge(asked.model, exploration(asked.model, answer.search)).results()
        for model in asked.observed:
            known = Recalled(answer.observed[model.properties[0].id])
            found = observe(self.machines.studying(answer.study), model, known, Limits(), lambda _: None)
            yield found.result
            yield from found.beside
