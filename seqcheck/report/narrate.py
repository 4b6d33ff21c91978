"""Tells a run in plain words that can be read aloud, a sentence for who acts and a sentence for what follows."""

from collections.abc import Iterator, Mapping
from decimal import Context, Decimal
from fractions import Fraction

from msgspec import Struct

from seqcheck.analyse.verdict import StepAccount
from seqcheck.model.model import Model
from seqcheck.model.run import Beyond, Endless, Failure, Run, RunStep, StepKind, Value, Values


class Vocabulary(Struct, frozen=True, kw_only=True):
    """How the names of a file are read aloud: by their `text`, else with spaces for underscores."""

    labels: Mapping[str, str]
    sensors: frozenset[str]
    timers: frozenset[str]
    tick_s: Fraction
    several_starts: bool = False

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
            several_starts=any(len(variable.starts) > 1 for variable in model.variables),
        )

    def name(self, name: str) -> str:
        """Return a variable's readable name."""
        return self.labels.get(name, name.replace("_", " "))

    def duration(self, ticks: int) -> str:
        """Return a duration in words."""
        return duration_words(ticks * self.tick_s)


def duration_words(seconds: Fraction) -> str:
    """Return a duration exactly, as people say it: `100 ms`, `1.5 s`, `2 min`, `2 min 30 s`, `3 h`."""
    if 0 < seconds < 1:
        return f"{decimal_words(seconds * 1000)} ms"
    if seconds < 120 or seconds.denominator != 1:
        return f"{decimal_words(seconds)} s"
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    parts = [f"{amount} {unit}" for amount, unit in ((hours, "h"), (minutes, "min"), (rest, "s")) if amount]
    return " ".join(parts)


def decimal_words(number: Fraction) -> str:
    """Return a number with all its decimals: durations in a file are decimals, so they have an end."""
    exact = Context(prec=60).divide(Decimal(number.numerator), Decimal(number.denominator))
    return f"{exact.normalize(Context(prec=60)):f}"


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


def what_follows(step: RunStep, words: Vocabulary, writes: tuple[str, ...] = ()) -> Iterator[str]:
    """Yield sentences: what the step itself changes (of *writes*), who acted at once, what else changed, what is read."""
    told = step.by.name if step.by.kind is StepKind.PANEL else ""
    derived = words.sensors | words.timers
    things = [(name, value) for name, value in step.changes if name not in derived and name != told]
    first = [pair for pair in things if pair[0] in writes and step.acted]
    if first:
        yield _become(first, words)
    if step.acted:
        yield _acted(step)
    then = [pair for pair in things if pair not in first]
    if then:
        yield _become(then, words)
    read = [f"{words.name(name)}: {shown(value)}" for name, value in step.changes if name in words.sensors]
    if read:
        yield sentence("the controller now reads " + listed(read))
    for name, value in step.changes:
        if name in words.timers:
            yield sentence(f"the timer “{words.name(name.removesuffix('.Q'))}” {'switches on' if value else 'switches off'}")


def _become(things: list[tuple[str, Value]], words: Vocabulary) -> str:
    return sentence(listed([f"{words.name(name)} is now {shown(value)}" for name, value in things]))


def _acted(step: RunStep) -> str:
    when = "then" if step.by.kind is StepKind.WAIT else "at once"
    names = listed([f"“{name}”" for name in step.acted])
    return sentence(f"{when} {names} acts" if len(step.acted) == 1 else f"{when} these act: {names}")


def needed(account: StepAccount, step: RunStep) -> str:
    """Return the sentence that names the permissives that let a command pass."""
    if step.by.kind is not StepKind.COMMAND:
        return ""
    if not account.guards:
        return "No permissive stands in its way."
    return f"Its permissives all hold: {'; '.join(account.guards)}."


def how_it_stands(values: Values, words: Vocabulary, really: Values = ()) -> str:
    """Return the state of parts, panel, outputs and memory in one sentence; *really* is what stuck outputs do."""
    hidden = words.sensors | words.timers
    does = dict(really)
    listed_values = [(name, value) for name, value in values if name not in hidden and "." not in name]
    return "; ".join(_stands(name, value, words, does) for name, value in listed_values)


def _stands(name: str, value: Value, words: Vocabulary, does: Mapping[str, Value]) -> str:
    if name in does:
        return f"{words.name(name)} commanded {shown(value)} but really {shown(does[name])}"
    return f"{words.name(name)} {shown(value)}"


def how_it_fails(failure: Failure, words: Vocabulary, *, at_start: bool = False) -> str:
    """Return the sentence that says why the last step, or the start, never comes to an end."""
    what = "the start" if at_start else "this step"
    match failure:
        case Endless(names=(name,)):
            return sentence(f"{what} never settles: “{name}” acts without end")
        case Endless(names=names):
            return sentence(f"{what} never settles: {listed([f'“{name}”' for name in names])} chase each other without end")
        case Beyond(rule=rule, variable=None, problem=problem):
            return sentence(f"{what} cannot be completed: “{rule}” {problem}")
        case Beyond(rule=rule, problem=problem):
            return sentence(f"{what} cannot be completed: by “{rule}”, {_readable(problem, words)}")


def _readable(problem: str, words: Vocabulary) -> str:
    """Return a problem that begins with a variable's name, with the name as it is read aloud."""
    name, _, rest = problem.partition(" ")
    return f"{words.name(name)} {rest}"


class Told(Struct, frozen=True, kw_only=True):
    """One step as it is told: its number (empty for waiting), when it begins, and its sentences."""

    number: str
    at: str
    sentences: tuple[str, ...]


def tell(run: Run, accounts: tuple[StepAccount, ...], words: Vocabulary) -> Iterator[Told]:
    """Tell each step of a run."""
    number = 0
    before: Values = ()
    deciding = max((n for n, step in enumerate(run.steps) if step.by.kind is StepKind.COMMAND), default=-1)
    for place, (step, account) in enumerate(zip(run.steps, accounts, strict=True)):
        fails = run.failure is not None and place == len(run.steps) - 1
        number += 0 if step.by.kind is StepKind.WAIT else 1
        sentences = [who_acts(step, words) if not fails else who_tries(step, words)]
        if place == deciding and not fails:
            sentences.append(needed(account, step))
        sentences += what_follows(step, words, account.writes)
        sentences += [sentence(f"{words.name(n)} really is {shown(v)}, whatever is commanded") for n, v in account.really
                      if (n, v) not in before]  # fmt: skip
        before = account.really
        waits = step.by.kind is StepKind.WAIT
        yield Told(
            number="" if waits else str(number),
            at=duration_words(account.at_ticks * words.tick_s),
            sentences=tuple(sentences),
        )


def who_tries(step: RunStep, words: Vocabulary) -> str:
    """Return the sentence that says who begins a step that is never completed."""
    if step.by.kind is StepKind.COMMAND:
        return f"The command “{step.by.name}” is given."
    return who_acts(step, words)
