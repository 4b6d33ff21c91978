"""Additional permissives: each is tried on the machine that has it, and whatever it refuses is tried too."""

import re

from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from seqcheck.compile.compile import compile_machine
from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.expression import TRUE, Apply, Expression, Load, Op, Sense, walk
from seqcheck.model.run import StepKind
from seqcheck.model.wording import wording
from seqcheck.search.engine import Limits
from seqcheck.search.limits import Allowance
from seqcheck.search.symbolic.budget import Budget
from seqcheck.search.symbolic.mending import Mend, Menders, Mending, Mendings
from tests.analyse.auditing import plainly
from tests.analyse.auditing.driven import driven
from tests.analyse.auditing.plainly import SEEN, Taken, Whole
from tests.effort import examples
from tests.outside.machines import machines
from tests.outside.reading import machine_of

MOST_STATES = 120
RELAXED = settings(max_examples=examples(60), deadline=None, suppress_health_check=list(HealthCheck))


def mended(model: m.Model, hazard: int) -> Mendings:
    limits = Limits()
    with Allowance(limits) as allowance:
        return Menders(model, Budget(allowance, limits, lambda _: None)).mendings(hazard, plainly.commands(model))


def with_permissive(model: m.Model, command: int, test: Expression) -> m.Model:
    steps = list(model.steps)
    steps[command] = replace(steps[command], guards=(*steps[command].guards, m.Guard(name="added", test=test, text="")))
    return replace(model, steps=tuple(steps))


class Plainly:
    """One hazard of one machine, by brute force."""

    def __init__(self, model: m.Model, whole: Whole, hazard: int) -> None:
        self.model = model
        self.whole = whole
        rule = model.properties[hazard].rule
        assert isinstance(rule, m.Hazard)
        self.test = rule.must_not_be.test
        self.bad = {state for state in whole.graph.moves if whole.graph.truth(self.test, state)}
        goals = {n: p.rule.goal.test for n, p in enumerate(model.properties) if isinstance(p.rule, m.Reachable)}
        self.goals = {n: test for n, test in goals.items() if any(whole.graph.truth(test, s) for s in whole.graph.moves)}

    def lost(self, states: set[m.State]) -> tuple[int, ...]:
        return tuple(n for n, test in self.goals.items() if not any(self.whole.graph.truth(test, s) for s in states))

    def free(self, commands: set[int]) -> set[int | None]:
        return {None, *range(len(self.model.steps))} - commands

    def check(self, told: Mendings) -> None:
        commands = set(plainly.commands(self.model))
        free = self.free(commands)
        harmful = self.whole.leading(self.bad, free)
        assert told.helpless == any(state in harmful for state in self.whole.graph.starts)
        if not told.helpless:
            assert told.lost == self.lost(self.whole.reach(Taken(free=free, harmful=harmful)))
        event(f"helpless: {told.helpless}, lost: {bool(told.lost)}")
        assert [one.step for one in told.mendings] == plainly.commands(self.model)
        for one in told.mendings:
            assert not (one.mends and (told.helpless or told.lost))
            self._check_one(one)

    def _check_one(self, one: Mending) -> None:
        free = self.free({one.step})
        never = self.whole.reach(Taken(free=free, harmful=self.whole.graph.moves))
        assert one.without == (not self.bad.isdisjoint(never))
        if one.without:
            event("comes without")
            return
        harmful = self.whole.leading(self.bad, free)
        kept = self.whole.reach(Taken(free=free, harmful=harmful))
        assert one.lost == self.lost(kept)
        kinds = {"lost": one.lost, "mended": one.mends, "blind": one.needs, "never": one.never}
        event(next((kind for kind, told in kinds.items() if told), "nothing found"))
        if one.never:
            self._check_never(one.step, never)
        for mend in one.mends:
            self._check_mend(one.step, mend)
        if one.needs:
            self._check_needs(one, kept, harmful)

    def _check_mend(self, command: int, mend: Mend) -> None:
        for part in walk(mend.condition):
            assert not isinstance(part, Load) or self.model.variables[part.variable].kind in SEEN
        graph = plainly.graph_of(with_permissive(self.model, command, mend.condition))
        assert not any(graph.truth(self.test, state) for state in graph.moves)
        assert not self.lost(set(graph.moves))
        step = self.model.steps[command]
        here = [state for state in graph.moves if can(self.model, step, state)]
        looks = {plainly.situation_of(self.model, state): graph.truth(mend.condition, state) for state in here}
        assert (mend.admitted, mend.refused) == (sum(looks.values()), len(looks) - sum(looks.values()))
        for situation, admitted in looks.items():
            if not admitted:
                more = Apply(Op.OR, (mend.condition, plainly.looks_like(self.model, situation)))
                wider = plainly.graph_of(with_permissive(self.model, command, more))
                assert any(wider.truth(self.test, state) for state in wider.moves), "more could be admitted"

    def _check_never(self, command: int, never: set[m.State]) -> None:
        """Accepting the command in any one situation that comes without it lets the hazard come."""
        step = self.model.steps[command]
        assert not self.lost(never)
        for situation in {plainly.situation_of(self.model, state) for state in never if can(self.model, step, state)}:
            graph = plainly.graph_of(with_permissive(self.model, command, plainly.looks_like(self.model, situation)))
            assert any(graph.truth(self.test, state) for state in graph.moves)

    def _check_needs(self, one: Mending, kept: set[m.State], harmful: set[m.State]) -> None:
        """With the parts named besides, the controller can tell what must be refused."""
        step = self.model.steps[one.step]
        told: dict[plainly.Situation, bool] = {}
        for state in kept:
            if can(self.model, step, state):
                seen = (*plainly.situation_of(self.model, state), *(state[part] for part in one.needs))
                refuses = semantics.take(self.model, step, state) in harmful
                assert told.setdefault(seen, refuses) == refuses
        assert all(self.model.variables[part].kind is m.VariableKind.PART for part in one.needs)


def can(model: m.Model, step: m.Step, state: m.State) -> bool:
    """Tell whether a command is accepted and does not fail."""
    try:
        if semantics.possible(model, step, state):
            semantics.take(model, step, state)
            return True
    except semantics.Failed:
        pass
    return False


@RELAXED
@given(text=st.one_of(driven(), driven(), machines(with_faults=False)))
def test_mends_keep_the_hazard_away_and_refuse_no_more_than_they_must(text: str) -> None:
    model = compile_machine(machine_of(text))
    assume(plainly.commands(model))
    try:
        whole = Whole.of(plainly.graph_of(model, MOST_STATES))
        for number, p in enumerate(model.properties):
            if isinstance(p.rule, m.Hazard):
                plain = Plainly(model, whole, number)
                if plain.bad:
                    plain.check(mended(model, number))
    except (plainly.TooManyStatesError, semantics.Impossible):
        event("not worth it")


@RELAXED
@given(text=st.one_of(driven(), driven(), machines(with_faults=False)))
def test_a_condition_means_in_a_file_what_it_means_in_the_model(text: str) -> None:
    model = compile_machine(machine_of(text))
    for number, p in enumerate(model.properties):
        if not isinstance(p.rule, m.Hazard):
            continue
        for one in mended(model, number).mendings:
            for mend in one.mends:
                name = model.steps[one.step].name
                written = asked_in_addition(text, name, wording(model, mend.condition))
                if mend.condition == TRUE:
                    continue
                (step,) = [s for s in compile_machine(machine_of(written)).steps if s.name == name]
                assert step.guards[-1].test == mend.condition
                event("written")


def asked_in_addition(text: str, command: str, condition: str) -> str:
    """Return a random machine's file with one more permissive of a command."""
    lines = text.splitlines()
    (place,) = [n for n, line in enumerate(lines) if line.startswith(f'  "{command}": {{')]
    if "permissives: {" in lines[place]:
        lines[place] = re.sub(r"permissives: \{([^}]*)\}", rf'permissives: {{\1, added: "{condition}"}}', lines[place])
    else:
        lines[place] = lines[place].replace(": {", f': {{permissives: {{added: "{condition}"}}, ', 1)
    return "\n".join(lines) + "\n"


BLIND = """
machine: A lid over a blade
parts:
  blade: [still, turning]
  lid: [shut, open]
sensors:
  lid_shut: lid = shut
outputs:
  drive: [off, on]
  catch: [holds, free]
memory:
  count: {range: 0..3}
commands:
  start:   {permissives: {the lid is shut: lid_shut, the catch holds: catch = holds}, then: {drive: on}}
  stop:    {then: {drive: off}}
  release: {permissives: {the drive is off: drive = off}, then: {catch: free}}
  hold:    {permissives: {the lid is shut: lid_shut}, then: {catch: holds}}
plant:
  it turns: {when: drive = on AND blade = still, after: at once, then: {blade: turning}}
  it rests: {when: drive = off AND blade = turning, after: 1..3 s, then: {blade: still}}
people:
  open the lid: {if: catch = free AND lid = shut, then: {lid: open}}
  shut the lid: {if: lid = open, then: {lid: shut}}
hazards:
  H1: {must not be: lid = open AND blade = turning}
requirements:
  R1: {reachable: blade = turning}
  R2: {reachable: lid = open}
"""


def test_a_signal_that_is_missing_is_named() -> None:
    """Only the blade tells when the catch may be released, and nothing shows it to the controller."""
    model = compile_machine(machine_of(BLIND))
    told = {model.steps[one.step].name: one for one in mended(model, 0).mendings}
    assert (told["release"].mends, [model.variables[n].name for n in told["release"].needs]) == ((), ["blade"])
    assert told["stop"].lost == () or told["stop"].mends == ()


def test_with_that_signal_the_condition_is_the_signal() -> None:
    model = compile_machine(machine_of(BLIND.replace("sensors:\n", "sensors:\n  at_rest: blade = still\n")))
    told = {model.steps[one.step].name: one for one in mended(model, 0).mendings}
    assert [wording(model, mend.condition) for mend in told["release"].mends] == ["at_rest"]


def test_with_a_timer_the_condition_is_the_timer() -> None:
    timer = "timers:\n  rested: {kind: TON, in: drive = off, pt: 4 s}\ncommands:\n"
    model = compile_machine(machine_of(BLIND.replace("commands:\n", timer)))
    told = {model.steps[one.step].name: one for one in mended(model, 0).mendings}
    (mend,) = told["release"].mends
    assert "rested" in wording(model, mend.condition)


def test_what_people_alone_bring_about_no_command_can_mend() -> None:
    text = BLIND.replace("if: catch = free AND lid = shut, ", "").replace(
        "drive: [off, on]", "drive: {states: [off, on], starts: on}"
    )
    model = compile_machine(machine_of(text))
    assert mended(model, 0).helpless


def test_what_must_stay_reachable_can_leave_only_a_trip() -> None:
    """The lid can be opened at any time: only never starting would keep the hazard away."""
    model = compile_machine(machine_of(BLIND.replace("if: catch = free AND lid = shut, ", "")))
    told = mended(model, 0)
    assert not told.helpless
    assert [model.properties[n].id for n in told.lost] == ["R1"]
    assert all(not one.mends for one in told.mendings)
    assert {model.steps[one.step].kind for one in told.mendings} == {StepKind.COMMAND}


def test_a_number_is_compared_where_states_do_not_tell() -> None:
    """The third count is the hazard, and only the count itself tells that it comes."""
    text = """
machine: A counter
parts:
  lamp: [dark, lit]
sensors:
  lit: lamp = lit
outputs:
  horn: [off, on]
memory:
  count: {range: 0..4}
commands:
  add: {permissives: {not at the end: count < 4}, then: {count: count + 1}}
hazards:
  H1: {must not be: count = 3}
requirements:
  R1: {reachable: count = 2}
"""
    model = compile_machine(machine_of(text))
    (one,) = mended(model, 0).mendings
    assert [wording(model, mend.condition) for mend in one.mends] == ["count <= 1"]
    assert isinstance(one.mends[0].condition, Apply)
    assert not any(isinstance(part, Sense) for part in walk(one.mends[0].condition))
