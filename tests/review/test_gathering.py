"""What a review gathers is what the separate commands find, however the work is shared out; what is open is said."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from msgspec.structs import replace

from seqcheck.analyse.auditing.audit import Audit
from seqcheck.analyse.faults.collecting import Row
from seqcheck.analyse.faults.study import Study
from seqcheck.analyse.procedures.records import Class
from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.check.machine import Machine
from seqcheck.cli.audit import audited
from seqcheck.cli.beforehand import AUTO
from seqcheck.cli.faults import Inquiry
from seqcheck.cli.faults import Options as FaultOptions
from seqcheck.cli.load import Loaded, load_any
from seqcheck.cli.report import Options
from seqcheck.cli.reviewing import Reviewing
from seqcheck.cli.searching import Wanted, searches_of
from seqcheck.cli.verifying import case_of
from seqcheck.compile.compile import compile_machine
from seqcheck.review.gathering import gather, joined
from seqcheck.review.record import PictureKind, Review, Section
from seqcheck.search.engine import Limits
from tests.review.mixer import MIXER, SOUND

NONE = Limits()
OLD = 0.0
"""When a command began, where no time is limited."""


def loaded_from(folder: Path, text: str) -> tuple[Loaded, Machine]:
    path = folder / "mixer.yaml"
    path.write_text(text, encoding="utf-8")
    loaded = load_any(path)
    assert loaded.machine is not None, loaded.diagnostics
    return loaded, loaded.machine


def reviewed(loaded: Loaded, machine: Machine, limits: Limits = NONE, *, up_to: int = 1, thorough: bool = False) -> Review:
    import time

    options = Options(up_to=up_to, thorough=thorough, limits=limits, proof=None, date="2026-01-01", began=time.monotonic())
    reviewing = Reviewing(loaded, machine, options)
    return gather(reviewing.about(), reviewing.questions())


def fault_study(loaded: Loaded, machine: Machine, up_to: int, *, notice: bool) -> Study:
    options = FaultOptions(
        up_to=up_to,
        limits=NONE,
        engine=AUTO,
        workers=None,
        cluster=None,
        resume=None,
        notice=notice,
        runs=False,
        quiet=True,
    )
    return Inquiry(loaded, machine, options).study()


def told(rows: tuple[Row, ...]) -> Iterator[tuple[object, ...]]:
    for row in rows:
        yield row.subject, row.open, tuple((one.faults, shortly(one.result)) for one in row.reached)


def shortly(result: Result) -> tuple[object, ...]:
    """Return a result, of its run what every shortest one has."""
    cost = None if result.run is None else (result.run.step_count, result.run.tick_count)
    return (replace(result, run=None, accounts=(), clauses=(), spoken=()), cost)


def bare(audit: Audit) -> Audit:
    return replace(audit, margins=None)


@pytest.mark.parametrize("text", [MIXER, SOUND], ids=["violated", "sound"])
def test_it_is_what_the_commands_find(text: str, tmp_path: Path) -> None:
    loaded, machine = loaded_from(tmp_path, text)
    review = reviewed(loaded, machine, thorough=True)
    (case,) = review.verification.cases
    wanted = Wanted(resume=None, proof=False, exact_counts=False, first=False)
    alone = case_of(compile_machine(machine), loaded, NONE, searches_of(loaded, AUTO, wanted))
    assert replace(case, seconds=0.0) == replace(alone, seconds=0.0)
    assert (Verdict.VIOLATED in {result.verdict for result in case.results}) == (text == MIXER)
    by_itself = fault_study(loaded, machine, 1, notice=True)
    assert review.faults is not None
    assert list(told(review.faults.rows)) == list(told(by_itself.rows))
    assert any(len(one.faults) == 1 for row in review.faults.rows for one in row.reached)
    assert review.faults.indications == by_itself.indications
    assert [(one.fault, one.notice) for one in review.faults.noticed] == [(o.fault, o.notice) for o in by_itself.noticed]
    assert review.audit == audited(loaded, machine, NONE, people=False)
    assert review.sheets is not None
    assert {one.kind for one in review.pictures} == set(PictureKind)
    assert review.map is not None
    assert review.map.states == case.states
    assert not [one for one in review.unanswered if one.asked]


def test_procedures_are_studied_and_their_runs_kept(tmp_path: Path) -> None:
    loaded, machine = loaded_from(tmp_path, MIXER)
    review = reviewed(loaded, machine)
    study = review.procedures
    assert study is not None
    assert [result.id for result in review.procedure_results] == ["procedure: mix"]
    kept = {(run.procedure, run.row, run.outcome): run for run in review.deviation_runs}
    for place, studied in enumerate(study.studied):
        for row, deviation in enumerate(studied.rows):
            for number, outcome in enumerate(deviation.outcomes):
                assert ((place, row, number) in kept) == (
                    outcome.met in {Class.HAZARD, Class.FAILS} and outcome.way is not None
                )
    assert kept


def test_one_processor_gives_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    loaded, machine = loaded_from(tmp_path, MIXER)
    several = reviewed(loaded, machine)
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0})
    alone = reviewed(loaded, machine)
    assert several.seconds.keys() == alone.seconds.keys()
    assert several.audit == alone.audit
    assert several.unanswered == alone.unanswered
    assert several.faults == alone.faults


def test_what_is_left_out_is_said_and_can_be_asked(tmp_path: Path) -> None:
    loaded, machine = loaded_from(tmp_path, SOUND)
    quick, whole = reviewed(loaded, machine), reviewed(loaded, machine, thorough=True, up_to=2)
    left = {(one.section, one.what) for one in quick.unanswered}
    assert {section for section, _ in left} == {Section.FAULTS, Section.AUDIT}
    assert not any(one.asked for one in quick.unanswered)
    assert quick.audit is not None
    assert quick.audit.margins is None
    assert quick.audit.purposes is not None
    assert not quick.audit.purposes.pairs_known
    assert quick.faults is not None
    assert not quick.faults.noticed
    assert whole.audit is not None
    assert whole.audit.margins
    assert whole.audit.purposes is not None
    assert whole.audit.purposes.pairs_known
    assert whole.faults is not None
    assert whole.faults.noticed
    pairs = [one for row in whole.faults.rows for one in row.reached if len(one.faults) == 2]
    by_itself = fault_study(loaded, machine, 2, notice=False)
    assert list(told(whole.faults.rows)) == list(told(by_itself.rows))
    assert pairs
    assert [one.what for one in whole.unanswered] == ["what more faults together bring about"] * (whole.faults.up_to < 2)


def test_no_time_leaves_everything_open(tmp_path: Path) -> None:
    loaded, machine = loaded_from(tmp_path, MIXER)
    review = reviewed(loaded, machine, Limits(seconds=0.0))
    results = review.verification.cases[0].results
    assert all(result.verdict is Verdict.UNDECIDED for result in results if result.kind != "procedure")
    assert {one.section for one in review.unanswered if one.asked} == set(Section) - {Section.MATRIX}


def test_a_machine_without_faults_and_procedures_leaves_nothing_open(tmp_path: Path) -> None:
    text = "machine: Fine\nparts: {p: [a, b]}\npeople: {go: {if: p = a, then: {p: b}}, back: {if: p = b, then: {p: a}}}\n"
    loaded, machine = loaded_from(tmp_path, text)
    review = reviewed(loaded, machine)
    assert review.faults is None
    assert review.procedures is None
    assert not [one for one in review.unanswered if one.asked]
    assert review.file == "mixer.yaml"


def test_what_following_the_procedures_said_counts_where_the_verification_was_cut(tmp_path: Path) -> None:
    review = reviewed(*loaded_from(tmp_path, MIXER))
    (case,) = review.verification.cases
    cut = [replace(r, verdict=Verdict.UNDECIDED) if r.kind in {"procedure", "hazard"} else r for r in case.results]
    verification = replace(review.verification, cases=(replace(case, results=tuple(cut)),))
    (told,) = joined(verification, review.procedure_results).cases
    assert [r for r in told.results if r.kind == "procedure"] == [r for r in case.results if r.kind == "procedure"]
    assert {r.verdict for r in told.results if r.kind == "hazard"} == {Verdict.UNDECIDED}
    assert any(r.kind == "procedure" for r in case.results)
