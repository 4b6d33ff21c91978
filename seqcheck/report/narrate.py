"""Tells a run in plain words that can be read aloud, a sentence for who acts and a sentence for what follows."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from seqcheck.analyse.verdict import StepAccount
from seqcheck.model.model import Model
from seqcheck.model.run import Beyond, Endless, Failure, Run, RunStep, StepKind, Value, Values


@dataclass(frozen=True, slots=True, kw_only=True)
class Vocabulary:
    """How the names of a file are read aloud: by their `text`, else with spaces for underscores."""

    labels: Mapping[str, str]
    sensors: frozenset[str]
    timers: frozenset[str]
    tick_s: Fraction

    @staticmethod
    def of(model: Model) -> "Vocabulary":
        """Return the vocabulary of a model."""
        named = [(variable.name, variable.text) for variable in model.variables]
        named += [(sensor.name, sensor.text) for sensor in model.sensors]
        named += [(timer.name, timer.text) for timer in model.timers]
        return Vocabulary(
            labels={name: text for name, text in named if text},
            sensors=frozenset(sensor.name for sensor in model.sensors),
            timers=frozenset(f"{timer.name}.Q" for timer in model.timers),
            tick_s=model.tick_s,
        )

    def name(self, name: str) -> str:
        """Return a variable's readable name."""
        return self.labels.get(name, name.replace("_", " "))

    def duration(self, ticks: int) -> str:
        """Return a duration in words."""
        return duration_words(ticks * self.tick_s)


def duration_words(seconds: Fraction) -> str:
    """Return a duration as people say it: `1.5 s`, `2 min`, `1 min 30 s`, `3 h`."""
    if seconds < 1 and seconds > 0:
        return f"{float(seconds * 1000):g} ms"
    if seconds < 120 or seconds.denominator != 1:
        return f"{float(seconds):g} s"
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    parts = [f"{amount} {unit}" for amount, unit in ((hours, "h"), (minutes, "min"), (rest, "s")) if amount]
    return " ".join(parts)


def shown(value: Value) -> str:
    """Return a value as it is read aloud."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value).replace("_", " ")


def sentence(words: str) -> str:
    """Return *words* with a capital at the start and a stop at the end."""
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "!", "?")) else ".")


def listed(parts: list[str]) -> str:
    """Join parts as in `one, two and three`."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def who_acts(step: RunStep, words: Vocabulary) -> str:
    """Return the sentence that says who or what makes the step."""
    by = step.by
    match by.kind:
        case StepKind.COMMAND:
            return f"The command “{by.name}” is given, and the controller accepts it."
        case StepKind.PERSON:
            return f"A person acts: {by.name}."
        case StepKind.PANEL:
            return f"On the panel, {words.name(by.name)} is set to {shown(by.to if by.to is not None else '')}."
        case StepKind.PLANT:
            return f"The machine does this by itself: {by.name}."
        case StepKind.FAULT:
            return f"A fault occurs: {by.name}."
        case StepKind.WAIT:
            return f"Nobody does anything for {words.duration(step.ticks)}."


def what_follows(step: RunStep, words: Vocabulary) -> Iterator[str]:
    """Yield sentences on trips and rules that acted, what changed, and what the controller now reads."""
    if step.acted:
        yield sentence(f"at once {listed([f'“{name}”' for name in step.acted])} acts" if len(step.acted) == 1 else _acted(step))
    things = [(n, v) for n, v in step.changes if n not in words.sensors and n not in words.timers and n != step.by.name]
    if things:
        yield sentence(listed([f"{words.name(name)} is now {shown(value)}" for name, value in things]))
    read = [(name, value) for name, value in step.changes if name in words.sensors]
    if read:
        yield sentence("the controller now reads " + listed([_reading(name, value, words) for name, value in read]))
    timed = [(name.removesuffix(".Q"), value) for name, value in step.changes if name in words.timers]
    for name, value in timed:
        yield sentence(f"the timer “{words.name(name)}” {'switches on' if value else 'switches off'}")


def _acted(step: RunStep) -> str:
    return f"at once these act: {listed([f'“{name}”' for name in step.acted])}"


def _reading(name: str, value: Value, words: Vocabulary) -> str:
    return f"{words.name(name)}: {shown(value)}"


def needed(account: StepAccount, step: RunStep) -> str:
    """Return the sentence that names the permissives that let a command pass."""
    if step.by.kind is not StepKind.COMMAND:
        return ""
    if not account.guards:
        return "No permissive stands in its way."
    return f"Its permissives all hold: {'; '.join(account.guards)}."


def how_it_stands(values: Values, words: Vocabulary) -> str:
    """Return the state of parts, panel, outputs and memory in one sentence."""
    hidden = words.sensors | words.timers
    listed_values = [(name, value) for name, value in values if name not in hidden and "." not in name]
    return "; ".join(f"{words.name(name)} {shown(value)}" for name, value in listed_values)


def how_it_fails(failure: Failure, words: Vocabulary) -> str:
    """Return the sentence that says why the last step never comes to an end."""
    match failure:
        case Endless(names=names):
            return f"This step never settles: {listed([f'“{name}”' for name in names])} chase each other without end."
        case Beyond(rule=rule, problem=problem):
            return f"This step cannot be completed: in “{rule}”, {words.name(problem) if ' ' not in problem else problem}."


def tell(run: Run, accounts: tuple[StepAccount, ...], words: Vocabulary) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Yield, for each step, its number (empty for waiting), the time at which it begins, and its sentences."""
    number = 0
    deciding = max((n for n, step in enumerate(run.steps) if step.by.kind is StepKind.COMMAND), default=-1)
    for place, (step, account) in enumerate(zip(run.steps, accounts, strict=True)):
        waits = step.by.kind is StepKind.WAIT
        number += 0 if waits else 1
        sentences = [who_acts(step, words)]
        if place == deciding:
            sentences.append(needed(account, step))
        sentences += what_follows(step, words)
        yield ("" if waits else str(number)), duration_words(account.at_ticks * words.tick_s), tuple(sentences)
