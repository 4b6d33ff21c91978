"""Compiles and runs the C rival of a model: `search.c` with the `machine.h` that is generated for it."""

import shutil
import subprocess
from pathlib import Path

from seqcheck.model.model import Model
from tests.benchmarks.c_program import program

SEARCH = Path(__file__).with_name("search.c")
OPTIONS = ("-std=gnu11", "-w")
FAST, QUICK = ("-O3", "-march=native"), ("-O0",)


def compiler() -> str | None:
    """Return where gcc is, if it is there."""
    return shutil.which("gcc")


def built(model: Model, folder: Path, *, block: int = 1, optimise: bool = True) -> Path:
    """Compile the rival of a model in *folder*; return the program.

    *block*: states visited before their successors are looked up. Not *optimise*: quickly compiled, for tests.
    """
    (folder / "machine.h").write_text(program(model), encoding="utf-8")
    target = folder / f"search_{block}"
    options = (*OPTIONS, *(FAST if optimise else QUICK), f"-DBLOCK={block}")
    subprocess.run(["gcc", *options, f"-I{folder}", str(SEARCH), "-o", str(target)], check=True)
    return target


def arguments(target: Path, expected: int, stop: int | None) -> list[str]:
    """Return the command line that searches all layers, or until the test of number *stop* among those tested is met."""
    return [str(target), str(expected), str(-1 if stop is None else stop)]
