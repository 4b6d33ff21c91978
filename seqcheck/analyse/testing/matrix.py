"""Makes a cause-and-effect matrix from a model, and the list of what such a matrix can't say.

Rows are conditions of single signals in their normal state, columns what trips write and which commands need something. After
IEC 62881 (cause-and-effect matrix), as far as it is known to this project; no claim of conformity.
"""

from collections.abc import Iterator

from msgspec import Struct, field

from seqcheck.analyse.testing.atoms import Atom, alternatives, atom_of
from seqcheck.analyse.testing.grid import LEGEND, CauseRow, EffectColumn, Matrix, Unsaid
from seqcheck.analyse.testing.unsaid import requirements_unsaid, timers_unsaid, trips_unsaid
from seqcheck.analyse.testing.wording import Words
from seqcheck.model.expression import Const, Expression
from seqcheck.model.model import Model, Reaction, VariableKind
from seqcheck.model.run import StepKind


def matrix_of(model: Model) -> Matrix:
    """Return the matrix of a model."""
    return _Filling(model=model).matrix()


class _Filling(Struct, kw_only=True):
    """The filling of one matrix."""

    model: Model
    rows: dict[Expression, Atom] = field(default_factory=dict)
    columns: dict[tuple[int, int], EffectColumn] = field(default_factory=dict)
    letters: dict[tuple[Expression, tuple[int, int]], str] = field(default_factory=dict)
    within: dict[Expression, list[str]] = field(default_factory=dict)
    unsaid: list[Unsaid] = field(default_factory=list)

    def matrix(self) -> Matrix:
        for reaction in self.model.reactions:
            if reaction.is_trip:
                self._trip(reaction)
        for number, step in enumerate(self.model.steps):
            if step.kind is StepKind.COMMAND:
                self._command(number)
        unsaid = (*self.unsaid, *trips_unsaid(self.model), *timers_unsaid(self.model), *requirements_unsaid(self.model))
        return Matrix(
            machine=self.model.name,
            revision=self.model.revision,
            causes=tuple(self._cause(test, atom) for test, atom in self.rows.items()),
            effects=tuple(self.columns.values()),
            cells=tuple(tuple(self._cell(test, key) for key in self.columns) for test in self.rows),
            legend=LEGEND,
            unsaid=tuple(dict.fromkeys(unsaid)),
        )

    # --- trips ---
    def _trip(self, reaction: Reaction) -> None:
        keys = [self._effect(target, value) for assign in reaction.program for target, value in
                zip(assign.targets, assign.values, strict=True)]  # fmt: skip
        for together in alternatives(self.model, reaction.when.test, wanted=True):
            atoms = [atom_of(self.model, part) for part in together]
            for atom in atoms:
                self._note(atom, reaction.name)
                for key in keys:
                    letter = "R" if self.columns[key].sort == "memory" and self.columns[key].reset else "T"
                    self._put(atom, key, letter + ("*" if len(atoms) > 1 else ""))
            if len(atoms) > 1:
                text = f"acts only if all of these hold at once: {'; '.join(atom.deviating for atom in atoms)}"
                self.unsaid.append(Unsaid(sort="several causes together", about=f"trip “{reaction.name}”", text=text))

    def _effect(self, target: int, value: Expression) -> tuple[int, int]:
        """Return the column of a variable and the value that is written to it, -1 for one that is worked out."""
        variable = self.model.variables[target]
        key = target, value.value if isinstance(value, Const) else -1
        if key not in self.columns:
            worked_out = not isinstance(value, Const)
            shown = "a value worked out from others" if worked_out else Words(model=self.model).label(target, key[1])
            self.columns[key] = EffectColumn(
                tag=variable.name,
                sort="memory" if variable.kind is VariableKind.MEMORY else "output",
                action=f"{variable.spoken}: {shown}",
                reset=", ".join(f"“{name}”" for name in self._resetting(target, key[1])),
            )
            if worked_out:
                text = "what is written is worked out from other values"
                self.unsaid.append(Unsaid(sort="worked out", about=variable.name, text=text))
        return key

    def _resetting(self, target: int, value: int) -> Iterator[str]:
        for step in self.model.steps:
            if step.kind is StepKind.COMMAND:
                written = [(t, v) for assign in step.program for t, v in zip(assign.targets, assign.values, strict=True)]
                if any(t == target and v != Const(value) for t, v in written):
                    yield step.name

    # --- commands ---
    def _command(self, number: int) -> None:
        step = self.model.steps[number]
        key = (-1, number)
        self.columns[key] = EffectColumn(tag=step.name, sort="command", action="accepted", reset="")
        for guard in step.guards:
            ways = list(alternatives(self.model, guard.test, wanted=False))
            for together in ways:
                for part in together:
                    atom = atom_of(self.model, part)
                    self._note(atom, f"{step.name}: {guard.name}")
                    self._put(atom, key, "P*" if len(together) > 1 else "P")
                if len(together) > 1:
                    needed = "; ".join(atom_of(self.model, part).normal_text for part in together)
                    text = f"one of these is enough: {needed}"
                    about = f"permissive “{guard.name}” of “{step.name}”"
                    self.unsaid.append(Unsaid(sort="several causes together", about=about, text=text))

    # --- cells ---
    def _note(self, atom: Atom, name: str) -> None:
        self.rows.setdefault(atom.normal, atom)
        names = self.within.setdefault(atom.normal, [])
        if name not in names:
            names.append(name)

    def _put(self, atom: Atom, key: tuple[int, int], letter: str) -> None:
        known = self.letters.get((atom.normal, key), "")
        if letter not in known.split():
            self.letters[atom.normal, key] = f"{known} {letter}".strip()

    def _cell(self, test: Expression, key: tuple[int, int]) -> str:
        letters = self.letters.get((test, key), "")
        delay = self.rows[test].delay
        return f"{letters} {delay}" if letters and delay else letters

    def _cause(self, test: Expression, atom: Atom) -> CauseRow:
        return CauseRow(
            tag=atom.tag,
            sort=atom.sort,
            description=atom.description,
            normal=atom.normal_text,
            delay=atom.delay,
            voting="",
            within=tuple(self.within.get(test, ())),
        )
