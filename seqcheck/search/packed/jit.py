"""The door to numba: a typed decorator, and arrays at an address. Imported only where something must be compiled."""

import re
from collections.abc import Callable
from typing import Any, TypeAlias, TypeVar, cast

import numba
import numpy as np
from llvmlite import binding, ir
from numba import carray, types  # type: ignore[attr-defined]
from numba.core import cgutils, config
from numba.extending import intrinsic
from numpy.typing import NDArray

from seqcheck.search.packed.native import target_machine

vars(config)["OPT"] = type(vars(config)["OPT"])(
    0
)  # numba's own optimising is left out, for it is done here once all parts are together
Function = TypeVar("Function", bound=Callable[..., object])
Numbers: TypeAlias = NDArray[np.int64]
Words: TypeAlias = NDArray[np.uint64]
Bytes: TypeAlias = NDArray[np.uint8]
Halves: TypeAlias = NDArray[np.int32]
Int: TypeAlias = int | np.int64
Truth: TypeAlias = bool | np.bool_
Lanes: TypeAlias = NDArray[np.int16] | NDArray[np.int64]


def jit(function: Function) -> Function:
    """Compile a function when it is first called, without Python's lock and without exceptions."""
    return cast(Function, numba.njit(nogil=True, error_model="numpy")(function))


def _at(element: types.Type) -> Callable[[Int], Any]:
    """Return a compiled function that takes an address for a pointer."""

    def pointer(_context: object, _address: object) -> tuple[object, Callable[..., object]]:
        signature = types.CPointer(element)(types.intp)  # type: ignore[no-untyped-call]

        def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> object:  # noqa: ANN401
            return builder.inttoptr(arguments[0], context.get_value_type(signature.return_type))

        return signature, generate

    return cast(Callable[[Int], Any], intrinsic(pointer))


_number, _word, _byte, _short = _at(types.int64), _at(types.uint64), _at(types.uint8), _at(types.int16)
_half = _at(types.int32)


def _prefetch(_context: object, _address: object) -> tuple[object, Callable[..., object]]:
    """Ask for the memory at an address to be brought near, for it will be read soon."""

    def generate(context: Any, builder: Any, _signature: Any, arguments: Any) -> object:  # noqa: ANN401
        pointer = builder.inttoptr(arguments[0], context.get_value_type(types.voidptr))
        number = ir.IntType(32)
        kind = ir.FunctionType(ir.VoidType(), [pointer.type, number, number, number])
        function = cgutils.get_or_insert_function(builder.module, kind, "llvm.prefetch.p0")  # type: ignore[no-untyped-call]
        builder.call(function, [pointer, number(0), number(3), number(1)])
        return context.get_dummy_value()

    return types.void(types.intp), generate


prefetch = cast(Callable[[Int], None], intrinsic(_prefetch))


@jit
def numbers_at(address: Int, rows: int, columns: int) -> Numbers:
    """Return the table of numbers at an address."""
    found: Numbers = carray(_number(address), (rows, columns))
    return found


@jit
def row_at(address: Int, length: Int) -> Numbers:
    """Return the numbers at an address."""
    found: Numbers = carray(_number(address), (length,))
    return found


@jit
def words_at(address: Int, length: Int) -> Words:
    """Return the words at an address."""
    found: Words = carray(_word(address), (length,))
    return found


@jit
def word(address: Int) -> np.uint64:
    """Return the word at an address."""
    found: np.uint64 = carray(_word(address), (1,))[0]
    return found


@jit
def put_word(address: Int, value: np.uint64) -> None:
    """Put a word at an address."""
    carray(_word(address), (1,))[0] = value


@jit
def bytes_at(address: Int, length: Int) -> Bytes:
    """Return the bytes at an address."""
    found: Bytes = carray(_byte(address), (length,))
    return found


@jit
def halves_at(address: Int, length: Int) -> Halves:
    """Return the numbers of 32 bits at an address."""
    found: Halves = carray(_half(address), (length,))
    return found


@jit
def short_lanes_at(address: Int, rows: int, columns: int) -> Lanes:
    """Return registers of 16 bits at an address."""
    found: Lanes = carray(_short(address), (rows, columns))
    return found


@jit
def long_lanes_at(address: Int, rows: int, columns: int) -> Lanes:
    """Return registers of 64 bits at an address."""
    found: Lanes = carray(_number(address), (rows, columns))
    return found


OUTSIDE = frozenset({"memset", "memcpy", "memmove"})
"""What machine code may call that is not in it: these are in every process."""


def machine_code(function: Callable[[int], int]) -> tuple[str, bytes]:
    """Compile a decorated function of an address for this processor; return the name of its symbol and an object file."""
    dispatcher: Any = function
    dispatcher.compile("int64(int64)")
    (compiled,) = dispatcher.overloads.values()
    symbol, machine = str(compiled.fndesc.llvm_func_name), target_machine()
    module = binding.parse_assembly(COUNTING.sub(r"\1{\n ret void\n}", compiled.library.get_llvm_str()))
    strip(module, symbol, machine)
    return symbol, bytes(machine.emit_object(module))


COUNTING = re.compile(r"^(define [^\n]* @NRT_(?:in|de)cref\([^\n]*)\{.*?^\}", re.MULTILINE | re.DOTALL)
"""The functions that count references to arrays. Arrays at an address have none, and what is kept needs no numba to run."""


def strip(module: Any, symbol: str, machine: Any) -> None:  # noqa: ANN401 - llvmlite has no types
    """Leave only a function and what it needs, without what numba adds for Python. Raises `RuntimeError` if it needs more."""
    for function in module.functions:
        if not function.is_declaration and function.name != symbol:
            function.linkage = "internal"
    builder = binding.create_pass_builder(machine, binding.create_pipeline_tuning_options(speed_level=3))
    manager = binding.create_new_module_pass_manager()
    manager.add_global_dead_code_eliminate_pass()
    manager.run(module, builder)
    builder.getModulePassManager().run(module, builder)
    needed = {f.name for f in module.functions if f.is_declaration and not f.name.startswith("llvm.")}
    if needed - OUTSIDE:
        raise RuntimeError(f"compiled code needs {needed - OUTSIDE}")
