"""Refusals without need, against machines that accept a command in one more situation, built and searched one by one."""

from hypothesis import HealthCheck, assume, event, given, settings
from msgspec.structs import replace

from seqcheck.compile.compile import compile_machine
from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.expression import TRUE, conjunction, negation
from seqcheck.model.run import StepKind
from seqcheck.search.engine import Limits
from seqcheck.search.symbolic.strictness import Refusals, refusals
from tests.analyse.auditing import plainly
from tests.analyse.auditing.plainly import Situation
from tests.effort import examples
from tests.outside.independent import Graph
from tests.outside.machines import machines
from tests.outside.reading import machine_of

MOST_STATES, MOST_SITUATIONS = 60, 12
RELAXED = settings(max_examples=examples(40), deadline=None, suppress_health_check=list(HealthCheck))


def silent(_progress: object) -> None:
    """Take no note."""


class Plainly:
    """What is to be told of one machine's commands, by brute force."""

    def __init__(self, model: m.Model) -> None:
        self.model = model
        self.graph = plainly.graph_of(model, MOST_STATES)
        self.met = set(plainly.violated_in(self.graph))
        self.hazards = [
            p.rule.must_not_be.test for p in model.properties if isinstance(p.rule, m.Hazard) and p.id not in self.met
        ]

    def told(self, command: int) -> dict[str, int]:
        """Return all counts of a command."""
        step = self.model.steps[command]
        accepted = [state for state in self.graph.moves if self._accepts(step, state)]
        refused = [state for state in self.graph.moves if not self._accepts(step, state)]
        looks: dict[Situation, list[m.State]] = {}
        for state in refused:
            looks.setdefault(plainly.situation_of(self.model, state), []).append(state)
        assume(len(looks) <= MOST_SITUATIONS)
        harmless = [situation for situation in looks if self._is_harmless(command, situation)]
        fine = [state for state in refused if self._is_fine(step, state)]
        return {
            "accepted": len({plainly.situation_of(self.model, state) for state in accepted}),
            "situations": len(looks),
            "harmless": len(harmless),
            "open": 0,
            "unmoved": sum(all(self._free(step, state) == state for state in looks[situation]) for situation in harmless),
            "accepted_states": len(accepted),
            "states": len(refused),
            "harmless_states": len(fine),
            "unmoved_states": sum(self._free(step, state) == state for state in fine),
        }

    def _accepts(self, step: m.Step, state: m.State) -> bool:
        try:
            return all([bool(semantics.evaluate(self.model, guard.test, state)) for guard in step.guards])
        except semantics.Impossible:
            return False

    def _free(self, step: m.Step, state: m.State) -> m.State | None:
        """Return where a command leads if it is accepted whatever its permissives say; None if it fails."""
        try:
            return semantics.take(self.model, step, state)
        except semantics.Failed:
            return None

    def _is_harmless(self, command: int, situation: Situation) -> bool:
        """Search the machine that accepts the command there too."""
        step = self.model.steps[command]
        permissives = negation(conjunction(TRUE, *(guard.test for guard in step.guards)))
        here = conjunction(plainly.looks_like(self.model, situation), permissives)
        also = replace(step, guards=(m.Guard(name="", test=here, text=""),))
        changed = replace(self.model, steps=(*self.model.steps, also))
        graph = plainly.graph_of(changed, 4 * MOST_STATES)
        return not self._is_worse(graph, len(self.model.steps))

    def _is_worse(self, graph: Graph, free: int) -> bool:
        """Tell whether a machine comes to a hazard that is not met now, or fails where nothing fails now."""
        if any(graph.truth(test, state) for state in graph.moves for test in self.hazards):
            return True
        return any(
            number == free or (state is not None and state not in self.graph.moves) for state, number, _ in graph.failing
        )

    def _is_fine(self, step: m.Step, state: m.State) -> bool:
        """Tell whether a state is harmless if all is seen and commands can be held back from then on."""
        after = self._free(step, state)
        if after is None:
            return False
        pending, seen = [after], {after}
        while pending:
            here = pending.pop()
            if here not in self.graph.moves and any(self.graph.truth(test, here) for test in self.hazards):
                return False
            for number, end in semantics.steps(self.model, here):
                if number is not None and self.model.steps[number].kind is StepKind.COMMAND:
                    continue
                if not isinstance(end, tuple):
                    if here not in self.graph.moves:
                        return False
                elif end not in seen:
                    seen.add(end)
                    pending.append(end)
        return True


def counts(found: Refusals) -> dict[str, int]:
    return {name: getattr(found, name) for name in found.__struct_fields__ if name not in {"step", "example"}}


@RELAXED
@given(text=machines(with_faults=False))
def test_refusals_are_those_of_machines_that_accept_in_one_more_situation(text: str) -> None:
    model = compile_machine(machine_of(text))
    assume(plainly.commands(model))
    try:
        plain = Plainly(model)
        due = {command: plain.told(command) for command in plainly.commands(model)}
    except (plainly.TooManyStatesError, semantics.Impossible):
        event("not worth it")
        return
    for found in refusals(model, Limits(), silent):
        told = counts(found)
        assert told == due[found.step], model.steps[found.step].name
        event(f"some harmless, some not: {0 < found.harmless < found.situations}")
        event(f"seen apart: {found.harmless_states > 0 and found.harmless < found.situations}")
        event(f"hazards: {len(plain.hazards)} not met")
        check_example(plain, found)


def check_example(plain: Plainly, found: Refusals) -> None:
    """An example is a shortest way to a harmless situation in which the command is refused."""
    assert (found.example is not None) == (found.harmless > 0)
    if found.example is None:
        return
    size = len(plain.model.variables)
    states = [state[:size] for state in found.example.states]
    step = plain.model.steps[found.step]
    assert not plain._accepts(step, states[-1])
    assert plain._is_harmless(found.step, plainly.situation_of(plain.model, states[-1]))
    assert (plain._free(step, states[-1]) == states[-1]) <= (found.harmless == found.unmoved)
    costs = plainly.costs_of(plain.graph)
    good = [
        plainly.steps_of(cost)
        for state, cost in costs.items()
        if not plain._accepts(step, state)
        and (found.harmless == found.unmoved or plain._free(step, state) not in {None, state})
        and plain._is_harmless(found.step, plainly.situation_of(plain.model, state))
    ]
    assert plainly.steps_of(costs[states[-1]]) == min(good)


HIDDEN = """
machine: Two tanks that look the same
parts:
  tank: {states: [low, high], starts: any}
  floor: [dry, wet]
sensors:
  present: tank = low OR tank = high
outputs:
  valve: [shut, open]
commands:
  fill:
    permissives: {never: NOT present}
    then: {valve: open}
plant:
  it runs over: {when: valve = open AND tank = high, then: {floor: wet}}
hazards:
  H1: {must not be: floor = wet}
"""


def test_a_state_that_looks_the_same_counts() -> None:
    """Accepting is harmless where the tank is low, but the controller cannot tell that from high."""
    (found,) = refusals(compile_machine(machine_of(HIDDEN)), Limits(), silent)
    assert counts(found) == {
        "accepted": 0,
        "situations": 1,
        "harmless": 0,
        "open": 0,
        "unmoved": 0,
        "accepted_states": 0,
        "states": 2,
        "harmless_states": 1,
        "unmoved_states": 0,
    }


def test_a_hazard_that_is_met_anyway_keeps_nothing_back() -> None:
    text = HIDDEN.replace("hazards:\n", "people:\n  spill: {then: {floor: wet}}\nhazards:\n")
    (found,) = refusals(compile_machine(machine_of(text)), Limits(), silent)
    assert (found.situations, found.harmless) == (1, 1)


NEWLY = """
machine: A state that comes only by accepting
parts:
  cart: [home, away, lost]
sensors:
  at_home: cart = home
outputs:
  drive: [off, on]
commands:
  go:
    permissives: {never: drive = on AND at_home}
    then: {drive: on}
  stop: {then: {drive: off}}
plant:
  it leaves:      {when: drive = on AND cart = home, then: {cart: away}}
  it falls off:   {when: drive = on AND cart = away, then: {cart: lost}}
hazards:
  H1: {must not be: cart = lost}
"""


def test_what_follows_in_states_newly_reached_counts() -> None:
    (found,) = [one for one in refusals(compile_machine(machine_of(NEWLY)), Limits(), silent) if not one.step]
    assert (found.situations, found.harmless, found.harmless_states) == (1, 0, 0)
