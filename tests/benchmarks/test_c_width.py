"""The rival's numbers are wide enough for every value on the way, and it refuses what does not fit."""

import pytest
from msgspec.structs import replace

from seqcheck.compile.compile import compile_machine
from tests.benchmarks.c_width import TooGreat, width
from tests.outside.reading import machine_of


def machine(top: int, value: str) -> str:
    hazard = f'hazards:\n  H: {{text: never, must not be: "{value} < 0"}}\n'
    return f"machine: Numbers\nparts:\n  n: {{range: 0..{top}}}\n{hazard}"


@pytest.mark.parametrize(
    ("top", "value", "bits"),
    [
        (100, "n + n", 32),
        (46_340, "n * n", 32),
        (46_341, "n * n", 64),
        (60_000, "n * n / n", 64),
        (1_000_000, "n * n * n", 64),
        (3, "2 ** n ** 2", 32),
        (1_000, "SEL(n > 5, n, 0) - MIN(n, 7)", 32),
    ],
)
def test_width(top: int, value: str, bits: int) -> None:
    assert width(compile_machine(machine_of(machine(top, value)))) == bits


def test_what_does_not_fit_is_refused() -> None:
    """The reader refuses such files; a machine may be made without it."""
    model = compile_machine(machine_of(machine(1_000, "n * n")))
    (n,) = model.variables
    assert width(replace(model, variables=(replace(n, highest=3 * 10**9),))) == 64
    with pytest.raises(TooGreat):
        width(replace(model, variables=(replace(n, highest=4 * 10**9),)))
