"""Random machines with random procedures: works or not, and every class of every deviation, as a second reading has them.

Every way is taken again with the definition, and its run replayed by the simulator.
"""

from hypothesis import HealthCheck, event, given, settings

from seqcheck.analyse.procedures.confirming import confirmed
from seqcheck.analyse.procedures.deviations import row_count
from seqcheck.analyse.procedures.records import Class, Outcome, Studied
from seqcheck.analyse.procedures.study import study
from seqcheck.analyse.record import Memory
from seqcheck.compile.compile import compile_machine
from seqcheck.model.model import Model, State
from seqcheck.search.engine import Limits, Progress
from seqcheck.simulate.replay import replay
from tests.analyse.procedures.drawing import machines_with_procedures
from tests.analyse.procedures.oracle import Label
from tests.analyse.procedures.readings import Reading
from tests.effort import examples
from tests.outside.independent import grown
from tests.outside.reading import machine_of

MOST_STATES = 60
RELAXED = settings(max_examples=examples(30), deadline=None, suppress_health_check=list(HealthCheck))


def silent(_progress: Progress) -> None:
    """Take no note."""


def label(model: Model, outcome: Outcome) -> Label:
    """Return the oracle's label of an outcome."""
    match outcome.met:
        case Class.HAZARD:
            return "hazard", model.properties[outcome.hazard or 0].id
        case Class.REFUSED if outcome.refusal is not None:
            return "refused", outcome.refusal.place, outcome.refusal.step, outcome.refusal.guards
        case Class.FAILS:
            return "fails", outcome.about.partition(" has no value")[0]
        case _:
            return (
                {
                    Class.LOST: "lost",
                    Class.STUCK: "no good end",
                    Class.WAY_OUT: "way out",
                    Class.WELL: "well",
                    Class.NO_EFFECT: "no effect",
                }[outcome.met],
            )


def in_words(found: Label) -> Label:
    """Return an oracle's label as the tool words it."""
    match found:
        case ("no value", str(of)) if of in {"until", "ends with"}:
            return "fails", f"the condition of “{of}”"
        case ("no value", of):
            return "fails", f"the condition of {of}"
        case ("fails", "settling", *names):
            return "fails", f"settling never ends: {', '.join(f'“{name}”' for name in names)}"
        case ("fails", "range", rule, None):
            return "fails", f"“{rule}” divides by zero or the like"
        case ("fails", "range", rule, variable):
            return "fails", f"“{rule}” puts {variable} outside its range"
        case _:
            return found


def labels(model: Model, outcomes: tuple[Outcome, ...]) -> set[Label]:
    """Return the labels of some outcomes, the procedure's own name left out."""
    found = {label(model, outcome) for outcome in outcomes if outcome.met is not Class.NO_MOMENT}
    return {(one[0], str(one[1]).partition(" of “procedure")[0]) if one[0] == "fails" else one for one in found}


def broken(model: Model, studied: Studied) -> set[Label]:
    """Return the labels of how a procedure breaks."""
    found: set[Label] = set()
    for outcome in studied.breaks:
        if outcome.met is Class.STUCK:
            place, end = outcome.place, len(model.procedures[studied.procedure].steps)
            found.add(("never begins",) if place is None else ("stuck",) if place == end else ("never ends",))
        else:
            found |= labels(model, (outcome,))
    return found


def fewest_steps(reading: Reading, number: int, state: State) -> int:
    """Return the fewest steps from a state to a good end of a procedure, by anything but faults, waiting being free."""
    machine, procedure = reading.machine, reading.model.procedures[number]
    layer, reached, steps = {state}, {state}, 0
    while layer:
        pending = list(layer)
        for here in pending:
            later = machine.attempt(here, None)
            if isinstance(later, tuple) and later not in reached:
                reached.add(later)
                pending.append(later)
        ends_with = procedure.ends_with
        ends = reading.as_written(number).ends
        if any(here in ends if ends_with is None else machine.truth(ends_with.test, here) for here in pending):
            return steps
        after = {
            a for here in pending for n in range(len(reading.model.steps)) if isinstance(a := machine.attempt(here, n), tuple)
        }
        layer, steps = after - reached, steps + 1
        reached |= layer
    raise AssertionError(state)


@RELAXED
@given(text=machines_with_procedures())
def test_works_and_deviations_are_those_of_a_second_reading(text: str) -> None:
    machine = machine_of(text)
    model = compile_machine(machine)
    if grown(model, MOST_STATES) is None:
        event("too many states")
        return
    found = study(model, range(len(model.procedures)), Limits(), silent)
    assert found.stopped is None
    reading = Reading(model)
    memory: Memory = {}
    replayed = set()
    for studied in found.studied:
        procedure = model.procedures[studied.procedure]
        written = reading.as_written(studied.procedure)
        event(f"works: {studied.works}")
        assert studied.works is (not written.breaks)
        assert broken(model, studied) == {in_words(one) for one in written.breaks}
        expected = reading.rows(studied.procedure)
        assert len(studied.rows) == len(expected) == row_count(model, procedure)
        for row in studied.rows:
            met = expected[row.place, row.deviation.value, row.other, row.regardless]
            assert labels(model, row.outcomes) == {in_words(one) for one in met}, row
        for outcome in (*studied.breaks, *(outcome for row in studied.rows for outcome in row.outcomes)):
            event(f"met: {outcome.met.name}")
            taken = confirmed(model, procedure, outcome, memory)
            if outcome.met is Class.WAY_OUT and outcome.way is not None and taken is not None and taken.stuck is not None:
                steps = sum(move >= 0 for move in outcome.way.moves[outcome.way.stuck :])
                assert steps == fewest_steps(reading, studied.procedure, taken.stuck)
            if taken is not None and taken.run not in replayed:
                replayed.add(taken.run)
                assert replay(machine, taken.run).disagreement is None
