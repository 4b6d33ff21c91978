"""Draws procedures for random machines, and marks an emergency stop in some."""

import re

from hypothesis import strategies as st

from seqcheck.check.machine import Machine, Section, Variable
from seqcheck.check.typed import NumberType, StatesType
from seqcheck.compile.compile import compile_machine
from seqcheck.model import semantics
from seqcheck.model.model import Model, State
from seqcheck.model.run import StepKind
from tests.outside.machines import machines
from tests.outside.puzzles import quoted
from tests.outside.reading import machine_of

STOP = "stop_button"


def with_stop(text: str, machine: Machine) -> str:
    """Add an emergency stop, and a trip that it sets off."""
    item = f"  {STOP}: {{states: [released, pressed], role: emergency_stop}}\n"
    text = text.replace("panel:\n", f"panel:\n{item}") if "\npanel:\n" in text else f"{text}panel:\n{item}"
    outputs = [v for v in machine.variables if v.section is Section.OUTPUT]
    trip = f"  stop trip: {{when: {STOP} = pressed, then: {{{outputs[0].name}: {literal(outputs[0])}}}}}\n"
    return text.replace("trips:\n", f"trips:\n{trip}") if "\ntrips:\n" in text else f"{text}trips:\n{trip}"


def literal(variable: Variable) -> str:
    """Return the first start value as the file writes it."""
    return str(variable.starts[0]).upper() if isinstance(variable.starts[0], bool) else str(variable.starts[0])


@st.composite
def conditions(draw: st.DrawFn, machine: Machine) -> str:
    """A condition on one variable."""
    variable = draw(st.sampled_from(machine.variables))
    if isinstance(variable.type, StatesType):
        return f"{variable.name} {draw(st.sampled_from(['=', '<>']))} {draw(st.sampled_from(variable.type.states))}"
    if isinstance(variable.type, NumberType):
        number = draw(st.integers(variable.type.lowest, variable.type.highest))
        return f"{variable.name} {draw(st.sampled_from(['=', '>=', '<', '<>']))} {number}"
    return f"{draw(st.sampled_from(['', 'NOT ']))}{variable.name}"


@st.composite
def steps(draw: st.DrawFn, machine: Machine) -> str:
    """One step."""
    acts = [c.name for c in machine.commands] + [p.name for p in machine.people]
    items = [v for v in machine.variables if v.section is Section.PANEL]
    kinds = ["wait", "until", *["act"] * (4 if acts else 0), *["set"] * bool(items)]
    match draw(st.sampled_from(kinds)):
        case "act":
            return quoted(draw(st.sampled_from(acts)))
        case "wait":
            return f"{{wait: {draw(st.integers(1, 3))} s}}"
        case "set":
            chosen = draw(st.lists(st.sampled_from(items), min_size=1, max_size=2, unique_by=lambda v: v.name))
            values = [f"{v.name}: {draw(st.sampled_from(values_of(v)))}" for v in chosen]
            return f"{{set: {{{', '.join(values)}}}}}"
        case _:
            return f"{{until: {quoted(draw(conditions(machine)))}}}"


def values_of(variable: Variable) -> tuple[str, ...]:
    """Return the values of a panel item as the file writes them."""
    return variable.type.states if isinstance(variable.type, StatesType) else ("FALSE", "TRUE")


@st.composite
def likely(draw: st.DrawFn, machine: Machine) -> str:
    """Steps that follow a random walk, and an end that it comes to: often such a procedure works."""
    model = compile_machine(machine)
    state = None
    for raw in semantics.raw_starts(model):
        try:
            state = semantics.settle(model, raw)
        except semantics.Failed:
            continue
        break
    told: list[str] = []
    for _ in range(draw(st.integers(2, 5))):
        if state is None:
            break
        moves = [(n, a) for n, a in semantics.steps(model, state) if isinstance(a, tuple)]
        ours = [(n, a) for n, a in moves if n is None or model.steps[n].kind in OURS]
        plants = [(n, a) for n, a in moves if n is not None and model.steps[n].kind is StepKind.PLANT]
        if not ours:
            break
        number, state = ours[draw(st.integers(0, len(ours) - 1))]
        if number is not None:
            step = model.steps[number]
            value = str(step.to).upper() if isinstance(step.to, bool) else step.to
            told.append(f"{{set: {{{step.name}: {value}}}}}" if step.kind is StepKind.PANEL else quoted(step.name))
        elif plants and draw(st.sampled_from([True, False])):
            told.append(f"{{until: {quoted(held(machine, model, state, draw))}}}")
        else:
            told.append("{wait: 1 s}")
    steps_text = ", ".join(told or ["{wait: 1 s}"])
    ends = f", ends with: {quoted(held(machine, model, state, draw))}" if state is not None and draw(st.booleans()) else ""
    return f"{{steps: [{steps_text}]{ends}"


OURS = (StepKind.COMMAND, StepKind.PERSON, StepKind.PANEL)


def held(machine: Machine, model: Model, state: State, draw: st.DrawFn) -> str:
    """Return a condition that holds in a state."""
    variable = draw(st.sampled_from(machine.variables))
    raw = state[next(place for place, other in enumerate(model.variables) if other.name == variable.name)]
    if isinstance(variable.type, StatesType):
        return f"{variable.name} = {variable.type.states[raw]}"
    return f"{variable.name} = {raw if isinstance(variable.type, NumberType) else str(bool(raw)).upper()}"


@st.composite
def machines_with_procedures(draw: st.DrawFn) -> str:
    """A random machine with one to three procedures, often without hazards, so that deviations come to other things."""
    text = draw(machines(with_faults=False))
    if draw(st.booleans()):
        text = re.sub(r"^hazards:\n(  .*\n)+", "", text, flags=re.MULTILINE)
    machine = machine_of(text)
    if draw(st.booleans()):
        text = with_stop(text, machine)
        machine = machine_of(text)
    lines = ["procedures:"]
    for number in range(draw(st.integers(1, 3))):
        procedure = draw(likely(machine)) if draw(st.sampled_from([True, True, False])) else draw(unlikely(machine))
        after = f", after: procedure {draw(st.integers(0, number - 1))}" if number and draw(st.booleans()) else ""
        lines.append(f"  procedure {number}: {procedure}{after}}}")
    return text + "\n".join(lines) + "\n"


@st.composite
def unlikely(draw: st.DrawFn, machine: Machine) -> str:
    """Any steps, and any end."""
    done = ", ".join(draw(st.lists(steps(machine), min_size=1, max_size=4)))
    ends = f", ends with: {quoted(draw(conditions(machine)))}" if draw(st.sampled_from([True, True, False])) else ""
    return f"{{steps: [{done}]{ends}"
