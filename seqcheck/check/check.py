"""Turns a document into a checked machine: declares its names, then gives every entry its meaning, then judges the whole."""

from collections.abc import Callable, Iterable
from typing import TypeVar

from seqcheck.check.declare import Declarations, timer
from seqcheck.check.demands import Demands
from seqcheck.check.deriving import Deriving
from seqcheck.check.elaborate import Elaborator
from seqcheck.check.machine import Machine
from seqcheck.check.meaning import CheckerFaultError, Meanings
from seqcheck.check.rules import Rules
from seqcheck.check.scope import FreeNames, Scope
from seqcheck.check.sensors import Sensors
from seqcheck.check.size import Measure
from seqcheck.check.ticks import Ticks
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.span import START_OF_FILE
from seqcheck.syntax import document as doc

_In = TypeVar("_In")
_Out = TypeVar("_Out")

_RULE_NAMES = {"trips": "a trip", "plant": "a plant rule", "people": "a person's action", "faults": "a fault"}


def check(document: doc.Document, sink: Sink) -> Machine | None:
    """Return the machine, or None if *sink* holds an error; all faults of the document are reported."""
    machine = _Checker(document, sink).machine()
    if sink.refused:
        return None
    _check_whole(document, machine)
    return machine


class _Checker:
    """Declares the names of one document, and then knows how to give each of its entries a meaning."""

    def __init__(self, document: doc.Document, sink: Sink) -> None:
        self._document = document
        self._sink = sink
        self._ticks = Ticks(document, sink)
        scope = Scope(sink, names_lost=document.names_lost)
        declarations = Declarations(scope, self._ticks, sink)
        self._variables = _each(document.variables, declarations.variable)
        self._sensors_named = [sensor for sensor in document.sensors if declarations.sensor(sensor)]
        self._timers_named = [(written, declarations.timer(written)) for written in document.timers]
        _check_not_empty(document, sink)
        _check_free_names(document, sink)
        elaborator = Elaborator(scope, document.sensors, self._ticks, sink)
        measure = Measure(sink)
        self._sensors = Sensors(document.sensors, elaborator, measure, sink)
        elaborator.sensor_type = self._sensors.type_of
        elaborator.sensors_of_part = self._sensors.reading
        self._meanings = Meanings(scope, elaborator, measure, sink)
        self._rules = Rules(scope, self._meanings, self._ticks, self._sensors, sink)
        self._demands = Demands(scope, self._meanings, self._ticks, _acts(document), sink)

    def machine(self) -> Machine:
        """Return the machine, without the entries in which something is wrong."""
        document, rules, demands = self._document, self._rules, self._demands
        sensors = _each(self._sensors_named, lambda sensor: self._sensors.resolve(sensor.name.value.lower()))
        timers = _each(self._timers_named, lambda pair: timer(*pair, self._meanings))
        faults = _each(_of(document, "faults"), rules.fault)
        deriving = Deriving(self._variables, sensors, timers, self._sink)
        return Machine(
            name=document.machine,
            revision=document.revision,
            tick_s=self._ticks.tick_s,
            variables=self._variables,
            sensors=sensors,
            timers=timers,
            commands=_each(document.commands, rules.command),
            trips=_each(_of(document, "trips"), rules.trip),
            plant=_each(_of(document, "plant"), rules.plant_rule),
            people=_each(_of(document, "people"), rules.person_action),
            faults=(*faults, *deriving.faults(document, faults)),
            hazards=_each((d for d in document.demands if d.kind == "must not be"), demands.hazard),
            requirements=_each((d for d in document.demands if d.kind not in {"", "must not be"}), demands.requirement),
            procedures=demands.procedures(document.procedures),
        )


def _each(written: Iterable[_In], meaning: Callable[[_In], _Out | None]) -> tuple[_Out, ...]:
    """Return the meanings of entries, without those in which something is wrong."""
    return tuple(result for result in map(meaning, written) if result is not None)


def _of(document: doc.Document, section: str) -> list[doc.Rule]:
    return [rule for rule in document.rules if rule.section == section]


def _acts(document: doc.Document) -> dict[str, bool]:
    acts = {rule.name.value: False for rule in _of(document, "people")}
    return acts | {command.name.value: True for command in document.commands}


def _check_not_empty(document: doc.Document, sink: Sink) -> None:
    if not document.variables and not document.names_lost:
        help_line = "add a section such as `parts: {gate: [shut, open]}`"
        sink.report(Code.NO_VARIABLES, START_OF_FILE, "the machine has no parts, panel, outputs or memory", help_line)


def _check_free_names(document: doc.Document, sink: Sink) -> None:
    free = FreeNames(sink)
    for command in document.commands:
        free.declare(command.name, "a command")
    for rule in document.rules:
        free.declare(rule.name, _RULE_NAMES[rule.section])
    for procedure in document.procedures:
        free.declare(procedure.name, "a procedure")
    ids = FreeNames(sink)
    for demand in document.demands:
        ids.declare(demand.id, "a hazard" if demand.kind == "must not be" else "a requirement")


def _check_whole(document: doc.Document, machine: Machine) -> None:
    """Make sure that nothing written was left out: a dropped rule would be a missed hazard."""
    rules = (*machine.trips, *machine.plant, *machine.people, *(fault for fault in machine.faults if not fault.derived))
    demands = (*machine.hazards, *machine.requirements)
    written = (document.variables, document.sensors, document.timers, document.commands, document.rules, document.demands)
    meant = (machine.variables, machine.sensors, machine.timers, machine.commands, rules, demands)
    if [len(entries) for entries in written] != [len(entries) for entries in meant]:
        raise CheckerFaultError("an entry was dropped without a diagnostic")
