"""Writes a study of procedures as JSON data (schema version 1), documented in sequences/LANGUAGE.md."""

from collections.abc import Iterator, Mapping, Sequence

import msgspec

from seqcheck.analyse.procedures.records import Class, Outcome, Row, Studied, Study, Way
from seqcheck.analyse.procedures.wording import Wording
from seqcheck.analyse.record import declared
from seqcheck.analyse.verdict import Result
from seqcheck.model.model import Model, Procedure
from seqcheck.model.run import By, StepKind
from seqcheck.report.json_form import SCHEMA_VERSION, Json, by_data, result_data, run_data, value
from seqcheck.report.narrate import duration_words

NAMES = {
    Class.HAZARD: "hazard",
    Class.UNDECIDED: "undecided",
    Class.FAILS: "fails",
    Class.LOST: "stuck_for_good",
    Class.STUCK: "stuck",
    Class.WAY_OUT: "stuck_with_a_way_out",
    Class.REFUSED: "refused",
    Class.WELL: "ends_well",
    Class.NO_EFFECT: "no_effect",
    Class.NO_MOMENT: "never_comes_about",
}


def study_data(study: Study, model: Model, results: Sequence[Result], *, file: str, sha256: str) -> dict[str, Json]:
    """Return a whole study; each result has a run that `simulate --play` plays."""
    writer = Writer(model)
    return {
        "schema": SCHEMA_VERSION,
        "study": "procedures",
        "file": file,
        "machine": model.name,
        "revision": model.revision,
        "file_sha256": sha256,
        "tick_s": float(model.tick_s),
        "complete": study.stopped is None,
        "stopped_by": None if study.stopped is None else study.stopped.name.lower(),
        "situations": study.situations,
        "states": study.states,
        "seconds": round(study.seconds, 4),
        "procedures": [writer.procedure(studied) for studied in study.studied],
        "results": [
            *(result_data(result, model.tick_s) for result in results),
            *(data for studied in study.studied for data in writer.rows(studied)),
        ],
    }


def large_text(data: Mapping[str, Json]) -> str:
    """Return JSON text as `json_form.text_of` does, in a fraction of the time: a study can have a million lines."""
    return msgspec.json.format(msgspec.json.encode(data), indent=1).decode() + "\n"


class Writer:
    """Writes what was found about the procedures of one model."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._words = Wording(model=model, duration=duration_words)

    def procedure(self, studied: Studied) -> Json:
        """Return one procedure."""
        procedure = self._model.procedures[studied.procedure]
        return {
            "number": studied.procedure + 1,
            "name": procedure.name,
            "works": studied.works,
            "steps": [self._words.step(step) for step in procedure.steps],
            "ends_with": None if procedure.ends_with is None else procedure.ends_with.text,
            "after": None if procedure.after is None else self._model.procedures[procedure.after].name,
            "rows": len(studied.rows),
            "breaks": [self._words.outcome(procedure, outcome) for outcome in studied.breaks],
        }

    def rows(self, studied: Studied) -> Iterator[Json]:
        """Yield a result for each outcome of each row."""
        procedure = self._model.procedures[studied.procedure]
        for number, row in enumerate(studied.rows, start=1):
            for place, outcome in enumerate(row.outcomes, start=1):
                head: dict[str, Json] = {
                    "id": f"{studied.procedure + 1}.{number}.{place}",
                    "kind": "deviation",
                    "procedure": procedure.name,
                    "row": number,
                    "step": row.place + 1,
                    "deviation": row.deviation.value,
                    "other": None if row.other is None else self._model.steps[row.other].name,
                    "after_refusal": "goes_on" if row.regardless else "stops",
                }
                yield head | self._outcome(procedure, row, outcome)

    def _outcome(self, procedure: Procedure, row: Row, outcome: Outcome) -> dict[str, Json]:
        refusal, way = outcome.refusal, outcome.way
        data: dict[str, Json] = {
            "class": NAMES[outcome.met],
            "text": self._words.outcome(procedure, outcome, row),
            "hazard": None if outcome.hazard is None else self._model.properties[outcome.hazard].id,
            "refused": None,
            "way_out": None,
        }
        if refusal is not None:
            step = self._model.steps[refusal.step]
            names = [step.guards[place].name or step.guards[place].text for place in refusal.guards]
            data["refused"] = {"step": refusal.place + 1, "name": step.name, "permissives": names}
        if way is not None and outcome.met is Class.WAY_OUT and way.stuck is not None:
            data["way_out"] = [self._words.move(move) for move in way.moves[way.stuck :]]
        has_run = outcome is row.outcomes[0] or outcome.met in {Class.HAZARD, Class.FAILS}
        return data | (self._run(way) if has_run and way is not None else run_data(None, self._model.tick_s))

    def _run(self, way: Way) -> dict[str, Json]:
        """Return a run as what happens in it, without what changes."""
        return {
            "steps": sum(move >= 0 for move in way.moves),
            "seconds": float(sum(-move for move in way.moves if move < 0) * self._model.tick_s),
            "start": {name: value(shown) for name, shown in declared(self._model, way.raw_start)},
            "run": list(self._moves(way)),
            "begins": way.begins,
            "stuck": way.stuck,
        }

    def _moves(self, way: Way) -> Iterator[Json]:
        count = 0
        for move in way.moves:
            count += move >= 0
            if move < 0:
                wait_s = float(-move * self._model.tick_s)
                yield {"step": None, "by": by_data(By(kind=StepKind.WAIT)), "wait_s": wait_s}
            else:
                step = self._model.steps[move]
                yield {"step": count, "by": by_data(By(kind=step.kind, name=step.name, to=step.to)), "wait_s": None}
