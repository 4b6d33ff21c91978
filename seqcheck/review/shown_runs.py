"""Gathers the runs that a page tells, each with the place that links lead to, and writes them for the step-through replay."""

import json
from collections.abc import Iterator, Mapping

from msgspec import Struct

from seqcheck.analyse.faults.collecting import Reached
from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.model.run import Run
from seqcheck.report.faults_text import called
from seqcheck.report.narrate import tell
from seqcheck.review.frames import Item, differences, frames, items
from seqcheck.review.markup import Trusted, isolated
from seqcheck.review.naming import anchors
from seqcheck.review.record import DeviationRun, Review

UNWRITTEN = {ord(character): f"\\u{ord(character):04x}" for character in "&<>\u2028\u2029"}
"""What could end a script element, or a line of a script, as JSON writes it otherwise."""


MOST_DEVIATIONS = 60
"""Runs of deviations that the page tells; the command `procedures` tells them all."""


class Shown(Struct, frozen=True, kw_only=True):
    """A result that the page tells of in a place of its own.

    *faults* are those with which it comes about, *drawn*: a timing diagram too.
    """

    anchor: str
    result: Result
    faults: tuple[str, ...] = ()
    drawn: bool = False

    @property
    def called(self) -> str:
        """How it is called: by its id, and the faults with which it comes about."""
        return f"{self.result.id} with {called(self.faults)}" if self.faults else self.result.id


class ShownRuns(Struct, frozen=True, kw_only=True):
    """What the page tells: what is violated (or open at the end of a run) without faults, what shows that something can be
    reached, what faults bring about, how they go unnoticed, what deviations from procedures come to.
    """

    violated: tuple[Shown, ...]
    reaching: tuple[Shown, ...]
    by_faults: tuple[Shown, ...]
    unnoticed: tuple[Shown, ...]
    deviating: tuple[Shown, ...]

    @property
    def every(self) -> tuple[Shown, ...]:
        """All of them."""
        return (*self.violated, *self.reaching, *self.by_faults, *self.unnoticed, *self.deviating)

    def of(self, result: Result) -> Shown | None:
        """Return where a result is told of, if it is."""
        return next((one for one in self.every if one.result is result), None)

    @property
    def with_run(self) -> Iterator[tuple[Shown, Run]]:
        """Each that has a run."""
        for one in self.every:
            if one.result.run is not None:
                yield one, one.result.run


def shown_runs(review: Review) -> ShownRuns:
    """Return what a page tells."""
    results = [result for case in review.verification.cases for result in case.results]
    violated = [one for one in results if one.verdict is Verdict.VIOLATED or (one.verdict is Verdict.UNDECIDED and one.run)]
    reaching = [result for result in results if result.verdict is Verdict.HOLDS and result.run is not None]
    faulty = _by_faults(review)
    noticed = review.faults.noticed if review.faults is not None else ()
    unnoticed = [one.result for one in noticed if one.result is not None]
    own = anchors("run", (result.id for result in (*violated, *reaching)))
    return ShownRuns(
        violated=tuple(Shown(anchor=a, result=r, drawn=True) for a, r in zip(own, violated, strict=False)),
        reaching=tuple(Shown(anchor=a, result=r, drawn=True) for a, r in zip(own[len(violated) :], reaching, strict=True)),
        by_faults=tuple(
            Shown(anchor=f"fault-run-{n}", result=one.result, faults=one.faults) for n, one in enumerate(faulty, start=1)
        ),
        unnoticed=tuple(Shown(anchor=f"notice-run-{n}", result=result) for n, result in enumerate(unnoticed, start=1)),
        deviating=tuple(_deviating(one) for one in review.deviation_runs[:MOST_DEVIATIONS]),
    )


def _deviating(one: DeviationRun) -> Shown:
    """Return the run of a deviation, told as that of a result would be."""
    result = Result(
        id=f"row {one.procedure + 1}.{one.row + 1}",
        kind="procedure",
        text="",
        verdict=Verdict.VIOLATED,
        faults=(),
        run=one.run,
        accounts=one.accounts,
        clauses=(),
        spoken=(),
        reason="",
        condition="",
        risk="",
        source="",
        line=1,
    )
    return Shown(anchor=f"deviation-run-{one.procedure + 1}-{one.row + 1}-{one.outcome + 1}", result=result)


def _by_faults(review: Review) -> list[Reached]:
    rows = review.faults.rows if review.faults is not None else ()
    return [one for row in rows for one in row.reached if one.faults]


def replay_data(review: Review, runs: ShownRuns) -> Trusted:
    """Return the script element that holds what the replay shows, as JSON."""
    board = items(review.model)
    data = {
        "items": [[isolated(item.spoken), item.group] for item in board],
        "runs": {one.anchor: _run_data(review, one, run, board) for one, run in runs.with_run},
    }
    return Trusted(f'<script type="application/json" id="replay-data">{script_text(data)}</script>')


def _run_data(review: Review, shown: Shown, run: Run, board: tuple[Item, ...]) -> Mapping[str, object]:
    accounts = shown.result.accounts
    seen = [tuple(isolated(value) for value in frame) for frame in frames(run, accounts, review.model, board)]
    told = list(tell(run, accounts, review.words))
    return {
        "id": isolated(shown.called),
        "start": seen[0],
        "steps": [
            {
                "number": one.number,
                "at": one.at,
                "told": isolated(" ".join(filter(None, one.sentences))),
                "set": [list(pair) for pair in differences(before, after)],
            }
            for one, before, after in zip(told, seen, seen[1:], strict=False)
        ],
    }


def script_text(data: object) -> str:
    """Return data as JSON that cannot end the script element it stands in."""
    written = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return written.translate(UNWRITTEN)
