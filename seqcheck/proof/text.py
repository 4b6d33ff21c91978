"""Writes a proof as text, with its digest as the last line. `sequences/PROOFS.md` describes the form."""

import hashlib
import json
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from seqcheck.model.run import By, StepKind
from seqcheck.proof.form import VERSION, ByLayers, ByRanks, ByRun, CaseProof, Claim, Drawn, Listed, Proof, Table
from seqcheck.proof.packing import differences, packed

FIRST = f"seqcheck proof {VERSION}"
DIGEST = "digest sha256 "


def text_of(proof: Proof) -> str:
    """Return the text of a proof file."""
    body = "".join(f"{line}\n" for line in _lines(proof))
    return f"{body}{DIGEST}{hashlib.sha256(body.encode()).hexdigest()}\n"


def write_proof(path: Path, proof: Proof) -> None:
    """Write a proof file, whole or not at all. Raises `OSError`."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text_of(proof))
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _said(word: str, value: object) -> str:
    return f"{word} {json.dumps(value, ensure_ascii=False, separators=(',', ':'))}"


def _lines(proof: Proof) -> Iterator[str]:
    yield FIRST
    yield _said("machine", proof.machine)
    yield _said("sequence", proof.sha256)
    yield _said("tick", proof.tick)
    for case in proof.cases:
        yield from _case(case)


def _case(case: CaseProof) -> Iterator[str]:
    yield _said("case", case.faults)
    if case.observed:
        yield _said("observed", case.observed)
    for domain in case.domains:
        yield _said("variable", (domain.name, domain.lowest, domain.highest))
    for table in case.tables:
        yield from _table(table)
    match case.states:
        case Listed(numbers=numbers):
            yield _said("states", len(numbers))
            yield from packed(differences(numbers))
            yield "end"
        case Drawn(table=place, root=root):
            yield _said("set", (place, root))
        case None:
            pass
    for claim in case.claims:
        yield from _claim(claim)
    yield _said("unproved", case.not_proved)


def _table(table: Table) -> Iterator[str]:
    yield _said("diagram", table.order)
    yield from (f"{place} {low} {high}" for place, low, high in table.nodes)
    yield "end"


def _claim(claim: Claim) -> Iterator[str]:
    about = (claim.kind.value, claim.id)
    match claim:
        case ByRun(start=start, steps=steps):
            yield _said("run", about)
            yield _said("start", start)
            yield from (_act(by, ticks) for by, ticks in steps)
            yield "end"
        case ByRanks(ranks=ranks):
            yield _said("ranks", about)
            yield from packed(rank + 1 for rank in ranks)
            yield "end"
        case ByLayers(layers=layers):
            yield _said("layers", (*about, [(layer.table, layer.root) for layer in layers]))
        case _:
            yield _said("proved", about)


def _act(by: By, ticks: int) -> str:
    if by.kind is StepKind.WAIT:
        return _said("wait", ticks)
    return _said(by.kind.value, by.name if by.to is None else (by.name, by.to))
