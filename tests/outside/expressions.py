"""Random expressions as trees of our own: written out as Structured Text, and worked out by Python. No tool code in here."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from hypothesis import strategies as st

VARIABLES = {"va": (-9, 9), "vb": (-3, 12), "vc": (0, 7), "vd": (-1, 1)}
TRUTHS = ("ta", "tb")
MOST = 2**31


class NoValueError(Exception):
    """An expression has no value here: a division by zero or the like."""


@dataclass(frozen=True, slots=True)
class Tree:
    """An expression. *spare* says whether it is written with parentheses that it may not need."""

    operator: str
    operands: tuple["Tree", ...] = ()
    value: int | str = 0
    spare: bool = False


STRENGTH = {"NEG": 8, "NOT": 8, "**": 7, "*": 6, "/": 6, "MOD": 6, "+": 5, "-": 5, "<": 4, ">": 4, "<=": 4, ">=": 4,
            "=": 3, "<>": 3, "AND": 2, "XOR": 1, "OR": 0}  # fmt: skip
"""IEC 61131-3:2003, table of operators, strongest highest."""
FUNCTIONS = frozenset({"SEL", "MUX", "MIN", "MAX", "LIMIT", "ABS"})
NEVER_BARE = {("**", "NEG"), *((a, b) for a in ("=", "<>") for b in ("<", ">", "<=", ">="))}
"""Pairs (outer, inner) on which editions differ, so that the language asks for parentheses."""


def spelled(tree: Tree) -> str:
    """Write a tree as Structured Text with as few parentheses as the standard's precedence and left association allow."""
    if not tree.operands:
        return str(tree.value)
    if tree.operator in FUNCTIONS:
        text = f"{tree.operator}({', '.join(spelled(operand) for operand in tree.operands)})"
    elif tree.operator in {"NEG", "NOT"}:
        text = {"NEG": "-", "NOT": "NOT "}[tree.operator] + beside(tree, tree.operands[0], right=True)
    else:
        left, right = tree.operands
        text = f"{beside(tree, left, right=False)} {tree.operator} {beside(tree, right, right=True)}"
    return f"({text})" if tree.spare else text


def beside(outer: Tree, inner: Tree, *, right: bool) -> str:
    """Write an operand, in parentheses where it would else be read otherwise."""
    text = spelled(inner)
    if inner.spare or inner.operator in FUNCTIONS or not inner.operands:
        return text
    mine, its = STRENGTH[outer.operator], STRENGTH[inner.operator]
    weaker = its < mine or (its == mine and right)
    return f"({text})" if weaker or (outer.operator, inner.operator) in NEVER_BARE else text


def quotient(a: int, b: int) -> int:
    """Divide as C does: towards zero."""
    if b == 0:
        raise NoValueError
    whole, rest = divmod(a, b)
    return whole + 1 if rest and whole < 0 else whole


def raised(a: int, b: int) -> int:
    """Raise to a power that is not negative."""
    if b < 0:
        raise NoValueError
    return int(a**b)


def chosen(k: int, *inputs: int) -> int:
    """Return input number k, from 0."""
    if k not in range(len(inputs)):
        raise NoValueError
    return inputs[k]


MEANING: Mapping[str, Callable[..., int | bool]] = {
    "NEG": lambda a: -a,
    "NOT": lambda a: not a,
    "**": raised,
    "*": lambda a, b: a * b,
    "/": quotient,
    "MOD": lambda a, b: a - b * quotient(a, b),
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "<": lambda a, b: a < b,
    ">": lambda a, b: a > b,
    "<=": lambda a, b: a <= b,
    ">=": lambda a, b: a >= b,
    "=": lambda a, b: a == b,
    "<>": lambda a, b: a != b,
    "AND": lambda a, b: a and b,
    "XOR": lambda a, b: a is not b,
    "OR": lambda a, b: a or b,
    "SEL": lambda g, a, b: b if g else a,
    "MUX": chosen,
    "MIN": min,
    "MAX": max,
    "LIMIT": lambda low, a, high: min(max(a, low), high),
    "ABS": abs,
}


def worked_out(tree: Tree, values: Mapping[str, int | bool]) -> int | bool:
    """Return the value; every operand is worked out, needed or not. Raises NoValueError."""
    if tree.operands:
        return MEANING[tree.operator](*[worked_out(operand, values) for operand in tree.operands])
    return values[tree.value] if isinstance(tree.value, str) and tree.value in values else constant(tree.value)


def constant(value: int | str) -> int | bool:
    """Return the value of a literal."""
    return value if isinstance(value, int) else value == "TRUE"


def largest(tree: Tree) -> int:
    """Return a bound on the absolute value of a number."""
    if not tree.operands:
        return max(map(abs, VARIABLES[tree.value])) if isinstance(tree.value, str) else abs(tree.value)
    sizes = [largest(operand) for operand in tree.operands if is_number(operand)]
    match tree.operator:
        case "+" | "-":
            return sum(sizes)
        case "*":
            return sizes[0] * sizes[1]
        case "**":
            return int(max(sizes[0], 1) ** sizes[1])
        case _:
            return max(sizes)


def is_number(tree: Tree) -> bool:
    """Tell a number from a truth."""
    if not tree.operands:
        return isinstance(tree.value, int) or tree.value in VARIABLES
    if tree.operator == "SEL":
        return is_number(tree.operands[1])
    return tree.operator in {"NEG", "**", "*", "/", "MOD", "+", "-", "MUX", "MIN", "MAX", "LIMIT", "ABS"}


SPARE = st.sampled_from([False, False, False, True])
NUMBER_LEAVES = st.builds(lambda v: Tree("leaf", value=v), st.sampled_from([*VARIABLES, *VARIABLES, 0, 1, 2, 3, 10]))
TRUTH_LEAVES = st.builds(lambda v: Tree("leaf", value=v), st.sampled_from([*TRUTHS, *TRUTHS, "TRUE", "FALSE"]))


def grown(operators: tuple[str, ...], *operands: st.SearchStrategy[Tree]) -> st.SearchStrategy[Tree]:
    """Return trees with one of some operators on top."""
    return st.builds(
        lambda operator, inside, spare: Tree(operator, inside, spare=spare),
        st.sampled_from(operators),
        st.tuples(*operands),
        SPARE,
    )


def numbers_of(numbers: st.SearchStrategy[Tree], truths: st.SearchStrategy[Tree]) -> st.SearchStrategy[Tree]:
    """Return numbers one floor higher."""
    divisors = st.builds(lambda v: Tree("leaf", value=v), st.sampled_from([*VARIABLES, 1, 2, 3]))
    exponents = st.builds(lambda v: Tree("leaf", value=v), st.sampled_from(["vd", 0, 1, 2, 3]))
    return st.one_of(
        grown(("+", "-", "*"), numbers, numbers),
        grown(("+", "-", "*"), numbers, numbers),
        grown(("/", "MOD"), numbers, divisors),
        grown(("**",), numbers, exponents),
        grown(("NEG", "ABS"), numbers),
        grown(("MIN", "MAX"), numbers, numbers),
        grown(("MIN", "MAX"), numbers, numbers, numbers),
        grown(("LIMIT",), numbers, numbers, numbers),
        grown(("SEL",), truths, numbers, numbers),
        grown(("MUX",), numbers, numbers, numbers, numbers),
    ).filter(lambda tree: largest(tree) < MOST)


def truths_of(numbers: st.SearchStrategy[Tree], truths: st.SearchStrategy[Tree]) -> st.SearchStrategy[Tree]:
    """Return truths one floor higher."""
    return st.one_of(
        grown(("<", ">", "<=", ">=", "=", "<>"), numbers, numbers),
        grown(("AND", "OR", "XOR", "=", "<>"), truths, truths),
        grown(("AND", "OR", "XOR"), truths, truths),
        grown(("NOT",), truths),
        grown(("SEL",), truths, truths, truths),
    )


def floors(count: int) -> tuple[st.SearchStrategy[Tree], st.SearchStrategy[Tree]]:
    """Return strategies for numbers and truths of at most so many floors."""
    numbers, truths = NUMBER_LEAVES, TRUTH_LEAVES
    for _ in range(count):
        numbers, truths = (
            st.one_of(NUMBER_LEAVES, numbers_of(numbers, truths)),
            st.one_of(TRUTH_LEAVES, truths_of(numbers, truths)),
        )
    return numbers, truths


NUMBERS, TRUTHS_GROWN = floors(3)
"""Numbers and truths over VARIABLES and TRUTHS."""


@st.composite
def settings_of(draw: st.DrawFn) -> dict[str, int | bool]:
    """Values for all variables."""
    numbers = {name: draw(st.integers(low, high)) for name, (low, high) in VARIABLES.items()}
    return {**numbers, **{name: draw(st.booleans()) for name in TRUTHS}}
