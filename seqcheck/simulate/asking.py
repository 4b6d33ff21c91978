"""Understands what a person types: which step is meant, and how long a wait. It does nothing about it."""

import re
from collections.abc import Iterable
from fractions import Fraction
from typing import Final

from seqcheck.check.machine import Machine, Section
from seqcheck.model.run import By, StepKind
from seqcheck.simulate.duration import in_seconds
from seqcheck.simulate.naming import alike, near, plain
from seqcheck.simulate.simulator import Choice, Simulator

MOST_TICKS: Final = 1_000_000
UNITS: Final = {"ms": Fraction(1, 1000), "s": Fraction(1), "min": Fraction(60), "h": Fraction(3600)}
_DURATION: Final = re.compile(r"([0-9]{1,15}(?:\.[0-9]{1,9})?)\s*([a-z]+)")


class NotUnderstoodError(Exception):
    """What was typed means nothing here; the text says why, and what may have been meant."""


def understand_wait(text: str, tick_s: Fraction) -> int:
    """Return the ticks of `2 s`, `500 ms`, `1.5 min`, `3 ticks`, or of nothing: one tick."""
    if not text:
        return 1
    found = _DURATION.fullmatch(text.lower())
    unit = found[2] if found else ""
    if found is None or (unit not in UNITS and unit not in {"tick", "ticks"}):
        raise NotUnderstoodError(f'"{text}" is no time. Say for example: wait 2 s, wait 500 ms, wait 3 ticks.')
    ticks = Fraction(found[1]) * (UNITS[unit] / tick_s if unit in UNITS else 1)
    if ticks.denominator != 1 or ticks < 1:
        raise NotUnderstoodError(f"Waiting goes by whole ticks of {in_seconds(1, tick_s)}, one at least.")
    if ticks > MOST_TICKS:
        raise NotUnderstoodError(f"A wait here is {in_seconds(MOST_TICKS, tick_s)} at most.")
    return int(ticks)


class Asking:
    """Finds the step that is meant, among those there are and those that are only talked about."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine

    def understand(self, text: str, simulator: Simulator, choices: tuple[Choice, ...]) -> By:
        """Return the step named by its number in *choices*, or by name; raise `NotUnderstoodError`."""
        if text.isascii() and text.isdecimal():
            return _numbered(text, choices)
        known = [*(choice.by for choice in choices), *self._talked_about(simulator)]
        exact = [by for by in known if by.name == text and by.kind is not StepKind.PANEL]
        wanted = _form(text)
        found = exact or [by for by in known if wanted in _names_of(by)]
        if len(found) == 1:
            return found[0]
        if found:
            options = "; ".join(_longest_name(by) for by in found)
            raise NotUnderstoodError(f'"{text}" may mean any of: {options}. Say which, or its number.')
        raise NotUnderstoodError(self._miss(text, known))

    def _talked_about(self, simulator: Simulator) -> Iterable[By]:
        """Yield steps that are never offered, so that asking for them is answered with the reason."""
        for rule in self._machine.plant:
            if rule.interval.at_once:
                yield By(kind=StepKind.PLANT, name=rule.name)
        for fault in self._machine.faults:
            if fault.name not in simulator.faults:
                yield By(kind=StepKind.FAULT, name=fault.name)
        for variable in self._machine.variables:
            if variable.section is Section.PANEL:
                yield By(kind=StepKind.PANEL, name=variable.name, to=simulator.value(variable.name))

    def _miss(self, text: str, known: list[By]) -> str:
        names = near(_form(text), (_longest_name(by) for by in known)) or near(text, (_short_name(by) for by in known))
        hint = f" Did you mean: {'; '.join(names)}?" if names else ' Say "state" for what can be done, "help" for the rest.'
        return f'Nothing here is called "{text}".{hint}'


def _numbered(text: str, choices: tuple[Choice, ...]) -> By:
    number = int(text[:9])
    if not 1 <= number <= len(choices):
        raise NotUnderstoodError(f"The list has numbers 1 to {len(choices)}.")
    return choices[number - 1].by


def _form(text: str) -> str:
    """Return what was typed, or a name, with all that does not matter taken off."""
    return alike(re.sub(r"[=:]", " ", text))


def _names_of(by: By) -> tuple[str, ...]:
    if by.kind is StepKind.PANEL:
        return (_form(f"{by.name} {plain(by.to)}"), _form(_longest_name(by)), _form(f"{by.name} to {plain(by.to)}"))
    return (_form(by.name), _form(_longest_name(by)))


def _longest_name(by: By) -> str:
    """Return the name by which a step can always be told from the others."""
    if by.kind is StepKind.PANEL:
        return f"set {plain(by.name)} to {plain(by.to)}"
    return f"{by.kind.value} {plain(by.name)}" if by.name else by.kind.value


def _short_name(by: By) -> str:
    return _longest_name(by) if by.kind is StepKind.PANEL else plain(by.name)
