"""Machine code of the compiled functions: kept in a file for each install and processor, loaded without numba.

Loading is what numba does with its own cache (object files linked in memory by LLVM), without the 0.2 s that its import
takes. A function takes the address of a frame, cannot fail, and runs without Python's lock.
"""

import ctypes
import hashlib
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias

import llvmlite
from llvmlite import binding
from msgspec import Struct

Native: TypeAlias = Callable[[int], None]
HERE = Path(__file__).parent
SOURCES = (
    "frame.py", "tableframe.py", "operations.py", "arithmetic.py", "visiting.py", "sifting.py", "tables.py", "linking.py",
    "jit.py", "native.py",
)  # fmt: skip
MAGIC = b"seqcheck machine code 1\n"


class Code(Struct, frozen=True, kw_only=True):
    """One function: its name, its symbol, and the object file that holds it."""

    name: str
    symbol: str
    object_file: bytes


class Linking(Mapping[str, Native]):
    """Functions by name, each linked when it is first asked for."""

    def __init__(self, known: list[Code]) -> None:
        self._known = {code.name: code for code in known}
        self._linked: dict[str, Native] = {}

    def __len__(self) -> int:
        """Return how many functions there are."""
        return len(self._known)

    def __iter__(self) -> Iterator[str]:
        """Yield the names."""
        return iter(self._known)

    def __getitem__(self, name: str) -> Native:
        """Return one function."""
        if name not in self._linked:
            self._linked[name] = loaded(self._known[name])
        return self._linked[name]


@cache
def functions(group: str) -> Mapping[str, Native]:
    """Return the functions of a group, compiled now (some seconds) or earlier. Raises `OSError` for no reason of the cache."""
    known = kept(group)
    if known is None:
        known = compiled(group)
        keep(group, known)
    return Linking(known)


def compiled(group: str) -> list[Code]:
    """Compile a group with numba."""
    from seqcheck.search.packed.compiling import GROUPS
    from seqcheck.search.packed.jit import machine_code

    return [Code(name=n, symbol=s, object_file=o) for n, f in GROUPS[group].items() for s, o in [machine_code(f)]]


def target_machine() -> Any:  # noqa: ANN401 - llvmlite has no types
    """Return LLVM's machine for this processor."""
    binding.initialize_native_target()
    binding.initialize_native_asmprinter()
    target = binding.Target.from_triple(binding.get_process_triple())
    features = binding.get_host_cpu_features().flatten()
    return target.create_target_machine(
        cpu=binding.get_host_cpu_name(), features=features, opt=3, codemodel="jitdefault", jit=True
    )


LINKED: list[Any] = []
"""Engines that hold linked code; they must live as long as the process."""


def loaded(code: Code) -> Native:
    """Link an object file into this process and return its function."""
    engine = binding.create_mcjit_compiler(binding.parse_assembly(""), target_machine())
    engine.add_object_file(binding.ObjectFileRef.from_data(code.object_file))
    engine.finalize_object()
    LINKED.append((engine, code.object_file))
    function = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int64)(
        engine.get_function_address(code.symbol)
    )
    result, problem = (ctypes.c_int64 * 1)(), (ctypes.c_void_p * 1)()
    places = ctypes.addressof(result), ctypes.addressof(problem)

    def call(address: int, _held: object = (result, problem)) -> None:
        function(*places, address)

    return call


@cache
def mark() -> str:
    """Return what tells the code of this version and processor from any other."""
    told = hashlib.sha256()
    for name in SOURCES:
        told.update((HERE / name).read_bytes())
    features = binding.get_host_cpu_features().flatten()
    for text in (llvmlite.__version__, binding.get_process_triple(), binding.get_host_cpu_name(), features):
        told.update(text.encode() + b"\0")
    return told.hexdigest()[:24]


def folders() -> tuple[Path, ...]:
    """Return where code may be kept: beside this file, else in the user's cache."""
    cache_home = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or str(Path("~/.cache").expanduser())
    return HERE / "__pycache__", Path(cache_home) / "seqcheck"


def kept(group: str) -> list[Code] | None:
    """Return the code kept for this version and processor; None if there is none that is whole."""
    for folder in folders():
        with suppress(OSError, ValueError):
            return unwrapped((folder / f"{group}-{mark()}.bin").read_bytes())
    return None


def keep(group: str, known: list[Code]) -> None:
    """Keep code for the next time, whole or not at all; where nothing can be written, nothing is."""
    for folder in folders():
        with suppress(OSError):
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=folder, delete=False) as file:
                file.write(wrapped(known))
            Path(file.name).replace(folder / f"{group}-{mark()}.bin")
            return


def wrapped(known: list[Code]) -> bytes:
    """Return code as one run of bytes, with a digest."""
    body = b"".join(
        len(part).to_bytes(8, "little") + part
        for code in known
        for part in (code.name.encode(), code.symbol.encode(), code.object_file)
    )
    return MAGIC + hashlib.sha256(body).digest() + body


def unwrapped(data: bytes) -> list[Code]:
    """Return the code in a run of bytes. Raises `ValueError` if it is damaged."""
    head, body = data[: len(MAGIC) + 32], data[len(MAGIC) + 32 :]
    if head != MAGIC + hashlib.sha256(body).digest():
        raise ValueError("damaged")
    parts, at = [], 0
    while at < len(body):
        size = int.from_bytes(body[at : at + 8], "little")
        parts.append(body[at + 8 : at + 8 + size])
        at += 8 + size
    return [
        Code(name=parts[i].decode(), symbol=parts[i + 1].decode(), object_file=parts[i + 2]) for i in range(0, len(parts), 3)
    ]
