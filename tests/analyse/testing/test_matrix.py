"""The cause-and-effect matrix of small machines, cell by cell."""

from seqcheck.analyse.testing.grid import Matrix, rows_of
from seqcheck.analyse.testing.matrix import matrix_of
from tests.analyse.testing.making import model_of

TEXT = """
machine: A stirrer
tick: 1 s
parts:
  lid: [shut, open]
panel:
  estop: {states: [released, pressed], text: emergency stop, role: emergency_stop}
  mode: [off, slow, fast]
sensors:
  lid_shut: lid = shut
outputs:
  motor: [off, on]
memory:
  ready: [no, yes]
timers:
  long_shut: {kind: TON, in: lid_shut, pt: 5 s}
commands:
  reset: {permissives: {released: estop = released}, then: {ready: yes}}
  start:
    permissives: {ready: ready = yes, shut for long: long_shut.Q, a mode: mode = slow OR mode = fast}
    then: {motor: on}
trips:
  stop: {when: estop = pressed, then: {motor: off, ready: no}}
  opened: {when: NOT (lid_shut AND mode <> off), then: {motor: off}}
  fast and open: {when: mode = fast AND NOT lid_shut, then: {ready: no}}
people:
  open it: {if: lid = shut, then: {lid: open}}
  shut it: {if: lid = open, then: {lid: shut}}
requirements:
  R1: {text: Stops in time, when: estop = pressed, within: 2 s, then: motor = off}
  R2: {text: No reset while pressed, forbid: reset, while: estop = pressed}
"""


def cells(matrix: Matrix) -> dict[tuple[str, str], str]:
    """Return what is in each cell that is not empty, by the normal state and the effect."""
    return {
        (cause.normal, effect.action if effect.sort != "command" else effect.tag): text
        for cause, line in zip(matrix.causes, matrix.cells, strict=True)
        for effect, text in zip(matrix.effects, line, strict=True)
        if text
    }


def test_every_cell() -> None:
    assert cells(matrix_of(model_of(TEXT))) == {
        ("estop = released", "motor: off"): "T",
        ("estop = released", "ready: no"): "R",
        ("estop = released", "reset"): "P",
        ("lid_shut", "motor: off"): "T",
        ("lid_shut", "ready: no"): "R*",
        ("mode <> off", "motor: off"): "T",
        ("mode <> fast", "ready: no"): "R*",
        ("ready = yes", "start"): "P",
        ("long_shut.Q", "start"): "P 5 s",
        ("mode = slow", "start"): "P*",
        ("mode = fast", "start"): "P*",
    }


def test_causes_and_effects_are_described() -> None:
    matrix = matrix_of(model_of(TEXT))
    causes = {cause.normal: cause for cause in matrix.causes}
    assert (causes["long_shut.Q"].sort, causes["long_shut.Q"].delay) == ("timer", "5 s")
    assert causes["long_shut.Q"].description == "long shut: TON of lid_shut"
    assert causes["lid_shut"].description == "reads: lid = shut"
    assert causes["estop = released"].within == ("stop", "reset: released")
    assert causes["estop = released"].description == "emergency stop"
    assert {cause.voting for cause in matrix.causes} == {""}
    effects = {effect.action: effect for effect in matrix.effects}
    assert effects["motor: off"].reset == "“start”"
    assert effects["ready: no"].reset == "“reset”"


def test_what_it_cannot_say_is_named() -> None:
    said = {(one.sort, one.about): one.text for one in matrix_of(model_of(TEXT)).unsaid}
    assert said["several causes together", "trip “fast and open”"] == (
        "acts only if all of these hold at once: mode = fast; NOT lid_shut"
    )
    assert (
        said["several causes together", "permissive “a mode” of “start”"] == "one of these is enough: mode = slow; mode = fast"
    )
    assert said["sequence", "permissive “ready” of “start”"].startswith("hangs on what was done before, which ready remembers")
    assert said["time", "timer long_shut"] == "TON, 5 s, runs with: lid_shut"
    assert said["time", "requirement R1"] == "Stops in time"
    assert said["sequence", "requirement R2"] == "No reset while pressed"
    assert ("mode", "trip “opened”") in said
    assert not any(about == "trip “stop”" for _, about in said)
    assert not any(sort == "order of trips" for sort, _ in said)


def test_trips_that_write_different_values_are_named_in_order() -> None:
    text = TEXT.replace("then: {ready: no}}", "then: {ready: yes}}")
    said = {(one.sort, one.about): one.text for one in matrix_of(model_of(text)).unsaid}
    assert "“fast and open” wins" in said["order of trips", "trips “stop” and “fast and open”"]


def test_all_lines_are_of_one_length() -> None:
    lines = list(rows_of(matrix_of(model_of(TEXT))))
    assert len({len(line) for line in lines}) == 1
    assert [line[6] for line in lines[:4]] == ["effect", "sort", "action", "reset"]


def test_a_machine_without_a_controller_has_an_empty_matrix() -> None:
    matrix = matrix_of(model_of("machine: Nothing\nparts:\n  a: [off, on]\n"))
    assert (matrix.causes, matrix.effects, matrix.cells) == ((), (), ())
