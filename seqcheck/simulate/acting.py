"""Says for each step of kinds 1 to 4 whether it may be taken, why not, and takes it. It does not settle."""

from fractions import Fraction
from typing import assert_never

from seqcheck.check.machine import Command, Condition, Fault, Machine, PersonAction, PlantRule, PowerLoss, Section, Variable
from seqcheck.check.typed import NumberType, StatesType, TruthType, Value
from seqcheck.diagnostics.span import Span
from seqcheck.model.run import By, StepKind
from seqcheck.simulate.cells import admits
from seqcheck.simulate.duration import in_seconds
from seqcheck.simulate.situation import Situation


class Actors:
    """Everything in a machine that can make a step, by its name. *studied*: the faults that may occur."""

    def __init__(self, machine: Machine, studied: frozenset[str]) -> None:
        self._tick_s: Fraction = machine.tick_s
        self._studied = studied
        self._commands = {command.name: command for command in machine.commands}
        self._people = {action.name: action for action in machine.people}
        self._panel = {v.name: v for v in machine.variables if v.section is Section.PANEL}
        self._plant = {rule.name: rule for rule in machine.plant}
        self._faults = {fault.name: fault for fault in machine.faults}
        self._returning = {fault.power.returns: fault for fault in machine.faults if fault.power is not None}

    def everyone(self, situation: Situation) -> tuple[By, ...]:
        """Return all that a step can be made by now, in file order: panel items are set to another value only."""
        placed: list[tuple[Span, By]] = []
        placed += [(each.span, By(kind=StepKind.COMMAND, name=each.name)) for each in self._commands.values()]
        placed += [(each.span, By(kind=StepKind.PERSON, name=each.name)) for each in self._people.values()]
        moving = [rule for rule in self._plant.values() if not rule.interval.at_once]
        placed += [(each.span, By(kind=StepKind.PLANT, name=each.name)) for each in moving]
        studied = [fault for fault in self._faults.values() if fault.name in self._studied]
        placed += [(each.span, By(kind=StepKind.FAULT, name=each.name)) for each in studied]
        returning = [(name, fault) for name, fault in self._returning.items() if fault.name in self._studied]
        placed += [(fault.span, By(kind=StepKind.PLANT, name=name)) for name, fault in returning]
        placed += [
            (item.span, By(kind=StepKind.PANEL, name=item.name, to=value))
            for item in self._panel.values()
            for value in values_of(item)
            if value != situation.commanded(item.name)
        ]
        return tuple(by for _, by in sorted(placed, key=lambda each: (each[0].line, each[0].column)))

    def objections(self, situation: Situation, by: By) -> tuple[str, ...]:
        """Return why a step can't be taken now; nothing if it can. Raise `StepFailsError` if a guard has no value."""
        match self._actor(by):
            case Command() as command:
                return self._failing_permissives(situation, command)
            case PersonAction() as action:
                return _unless_it_holds(situation, action.condition, action.name)
            case Variable() as item:
                return _against_setting(situation, item, by.to)
            case PlantRule() as rule:
                return self._against_plant(situation, rule)
            case PowerLoss():
                return () if situation.power_lost else ("power is not lost",)
            case Fault() as fault:
                return self._against_fault(situation, fault)
            case None:
                return (f"the file has no {by.kind.value} named {by.name}",)

    def perform(self, situation: Situation, by: By) -> None:
        """Do what a step does of itself."""
        match self._actor(by):
            case Command() | PersonAction() as actor:
                situation.apply(actor.effects, actor.name)
            case Variable() as item if by.to is not None:
                situation.set(item.name, by.to)
            case PlantRule() as rule:
                situation.set_clock(rule.name, 0)
                situation.apply(rule.effects, rule.name)
            case PowerLoss() as power:
                situation.set_power(lost=False)
                situation.start_anew(power.resets)
            case Fault() as fault:
                situation.add_fault(fault.name)
                situation.apply(fault.effects, fault.name)
                situation.start_anew(fault.resets)
                situation.set_power(lost=situation.power_lost or fault.power is not None)
            case _:
                raise ValueError(by)

    def _actor(self, by: By) -> Command | PersonAction | Variable | PlantRule | PowerLoss | Fault | None:
        match by.kind:
            case StepKind.COMMAND:
                return self._commands.get(by.name)
            case StepKind.PERSON:
                return self._people.get(by.name)
            case StepKind.PANEL:
                return self._panel.get(by.name)
            case StepKind.PLANT:
                returning = self._returning.get(by.name)
                return self._plant.get(by.name) if returning is None else returning.power
            case StepKind.FAULT:
                return self._faults.get(by.name)
            case StepKind.WAIT:
                return None
            case _:
                assert_never(by.kind)

    def _failing_permissives(self, situation: Situation, command: Command) -> tuple[str, ...]:
        verdicts = [(each.name, situation.holds(each.condition, command.name)) for each in command.permissives]
        failing = tuple(name for name, holds in verdicts if not holds)
        return (*failing, "the controller has power") if situation.power_lost else failing

    def _against_plant(self, situation: Situation, rule: PlantRule) -> tuple[str, ...]:
        if rule.interval.at_once:
            return ("it happens at once and by itself, while the machine settles",)
        missing = _unless_it_holds(situation, rule.when, rule.name)
        left = rule.interval.earliest - situation.clock(rule.name)
        if missing or left <= 0:
            return missing
        return (f"it may happen in {in_seconds(left, self._tick_s)} at the earliest",)

    def _against_fault(self, situation: Situation, fault: Fault) -> tuple[str, ...]:
        if fault.name not in self._studied:
            return ("it is not among the faults under study",)
        if fault.name in situation.occurred:
            return ("it has occurred already",)
        if fault.stuck is not None and situation.is_stuck(fault.stuck.signal):
            return (f"{fault.stuck.signal} is stuck already",)
        return _unless_it_holds(situation, fault.condition, fault.name)


def values_of(variable: Variable) -> tuple[Value, ...]:
    """Return every value that a variable can have, in order."""
    match variable.type:
        case TruthType():
            return (False, True)
        case StatesType(states):
            return states
        case NumberType(lowest, highest):
            return tuple(range(lowest, highest + 1))


def _unless_it_holds(situation: Situation, condition: Condition, rule: str) -> tuple[str, ...]:
    return () if situation.holds(condition, rule) else (f"its condition does not hold: {condition.text}",)


def _against_setting(situation: Situation, item: Variable, to: Value | None) -> tuple[str, ...]:
    if to is None or not admits(item.type, to):
        return (f"{item.name} has no value {to}",)
    return (f"{item.name} is {to} already",) if situation.commanded(item.name) == to else ()
