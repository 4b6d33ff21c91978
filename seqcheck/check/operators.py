"""The typing rules of operators and functions: what they take, what they give, what is wrong with their operands."""

from collections.abc import Sequence

from seqcheck.check.arithmetic import CannotComputeError, bounds, fits, union
from seqcheck.check.typed import Expression, NumberType, Operator, StatesType, TruthType, Type
from seqcheck.check.types import TRUTH, alike, described
from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.span import Span
from seqcheck.syntax import terms

LOGIC = frozenset({Operator.NOT, Operator.AND, Operator.OR, Operator.XOR})
EQUALITIES = frozenset({Operator.EQUAL, Operator.UNEQUAL})
ORDERINGS = frozenset({Operator.LESS, Operator.GREATER, Operator.AT_MOST, Operator.AT_LEAST})
CHOOSERS = frozenset({Operator.SEL, Operator.MUX})
BY_SPELLING = {operator.value: operator for operator in Operator}

_ARGUMENTS = {
    Operator.SEL: (3, 3), Operator.MUX: (2, None), Operator.MIN: (2, None), Operator.MAX: (2, None),
    Operator.LIMIT: (3, 3), Operator.ABS: (1, 1),
}  # fmt: skip
_FORMS = {
    Operator.SEL: "SEL(choice, if FALSE, if TRUE)", Operator.MUX: "MUX(number, input 0, input 1, ...)",
    Operator.MIN: "MIN(a, b, ...)", Operator.MAX: "MAX(a, b, ...)", Operator.LIMIT: "LIMIT(lowest, value, highest)",
    Operator.ABS: "ABS(a)",
}  # fmt: skip


class OperatorRules:
    """Judges operations of one file."""

    def __init__(self, sink: Sink) -> None:
        self._sink = sink

    def takes_so_many(self, operator: Operator, term: terms.Operation) -> bool:
        """Check the number of arguments of a function."""
        least, most = _ARGUMENTS.get(operator, (0, None))
        count = len(term.operands)
        if count >= least and (most is None or count <= most):
            return True
        wanted = str(least) if most == least else f"{least} or more"
        plural = "" if wanted == "1" else "s"
        message = f"{operator.value} takes {wanted} argument{plural}, and here it has {count}"
        self._sink.report(Code.WRONG_ARGUMENTS, term.sign, message, f"write {_FORMS[operator]}")
        return False

    def type_of(self, operator: Operator, term: terms.Operation, operands: Sequence[Expression]) -> Type | None:
        """Return the type of the result, or report what is wrong and return None."""
        if operator in LOGIC:
            return TRUTH if self._are_truths(operator, operands) else None
        if operator in EQUALITIES:
            return TRUTH if self._agree(operands, term.span, f"{operator.value} compares") else None
        if operator in ORDERINGS:
            return TRUTH if self._are_numbers(operator, operands) else None
        if operator is Operator.SEL:
            return self._selected(term, operands)
        if operator is Operator.MUX:
            return self._multiplexed(term, operands)
        return self._arithmetic(operator, term, operands) if self._are_numbers(operator, operands) else None

    def judge_some(self, operator: Operator, operands: Sequence[Expression]) -> None:
        """Report what is wrong with those operands that have a meaning, where others have none."""
        if operator in LOGIC:
            self._are_truths(operator, operands)
        elif operator not in EQUALITIES | CHOOSERS:
            self._are_numbers(operator, operands)

    def _arithmetic(self, operator: Operator, term: terms.Operation, operands: Sequence[Expression]) -> Type | None:
        try:
            result = bounds(operator, [o.type for o in operands if isinstance(o.type, NumberType)])
        except CannotComputeError as error:
            self._sink.report(
                Code.CANNOT_COMPUTE, term.span, f"this can never be computed: {error}", "change the right operand"
            )
            return None
        if not fits(result):
            message = "the result may grow beyond 64 bits"
            self._sink.report(Code.TOO_GREAT, term.span, message, "narrow the ranges of its variables, or bound it with LIMIT")
            return None
        return result

    def _selected(self, term: terms.Operation, operands: Sequence[Expression]) -> Type | None:
        choice, *arms = operands
        if not isinstance(choice.type, TruthType):
            message = f"the first argument of SEL must be a truth, and this is {described(choice.type)}"
            self._sink.report(
                Code.WRONG_OPERAND, choice.span, message, "SEL(G, a, b) gives a while G is FALSE, b while it is TRUE"
            )
            return None
        return self._common(term, arms)

    def _multiplexed(self, term: terms.Operation, operands: Sequence[Expression]) -> Type | None:
        index, *arms = operands
        if not isinstance(index.type, NumberType):
            message = f"the first argument of MUX must be a number, and this is {described(index.type)}"
            self._sink.report(
                Code.WRONG_OPERAND, index.span, message, "MUX(K, a, b, c) gives a while K is 0, b while it is 1, and so on"
            )
            return None
        if index.type.highest < 0 or index.type.lowest >= len(arms):
            message = f"MUX has the inputs 0 to {len(arms) - 1}, and this is {described(index.type)}"
            self._sink.report(Code.CANNOT_COMPUTE, index.span, message, "the first input has the number 0")
            return None
        return self._common(term, arms)

    def _common(self, term: terms.Operation, arms: Sequence[Expression]) -> Type | None:
        if not self._agree(arms, term.span, f"{term.operator} chooses between"):
            return None
        numbers = [arm.type for arm in arms if isinstance(arm.type, NumberType)]
        return union(numbers) if numbers else arms[0].type

    def _agree(self, operands: Sequence[Expression], span: Span, what: str) -> bool:
        first = operands[0].type
        for operand in operands[1:]:
            if not alike(first, operand.type):
                message = f"{what} {described(first)} and {described(operand.type)}"
                self._sink.report(Code.UNLIKE_TYPES, span, message, _mend(first, operand.type))
                return False
        return True

    def _are_truths(self, operator: Operator, operands: Sequence[Expression]) -> bool:
        good = True
        for operand in operands:
            if not isinstance(operand.type, TruthType):
                good = False
                message = f"{operator.value} takes truths, and this is {described(operand.type)}"
                help_line = "compare it with something: a = b, a > b"
                if operator is Operator.NOT:
                    help_line = "NOT binds more tightly than a comparison: write NOT (a = b)"
                self._sink.report(Code.WRONG_OPERAND, operand.span, message, help_line)
        return good

    def _are_numbers(self, operator: Operator, operands: Sequence[Expression]) -> bool:
        good = True
        word = "the minus sign" if operator is Operator.NEG else operator.value
        for operand in operands:
            if not isinstance(operand.type, NumberType):
                good = False
                message = f"{word} takes whole numbers, and this is {described(operand.type)}"
                self._sink.report(Code.WRONG_OPERAND, operand.span, message, self._number_help(operator, operand.type))
        return good

    @staticmethod
    def _number_help(operator: Operator, kind: Type) -> str:
        if isinstance(kind, StatesType):
            return "states have no order and no sum; compare them with = or <>"
        if operator in ORDERINGS:
            return "write a < b AND b < c for a chain; compare truths with = or <>"
        return "SEL(truth, 0, 1) makes a number of a truth"


def _mend(left: Type, right: Type) -> str:
    if isinstance(left, StatesType) and isinstance(right, StatesType):
        return "both must list the same states in the same order"
    if isinstance(left, StatesType) or isinstance(right, StatesType):
        return "compare a state with a state, for example `gate = shut`"
    return "SEL(truth, 0, 1) makes a number of a truth; `number > 0` makes a truth of a number"
