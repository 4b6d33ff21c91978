"""Rules of IEC 60204-1 on starting and stopping, put to the committed separator in this test's own words."""

from pathlib import Path

import pytest

from tests.outside.conftest import Verify

SEPARATOR = Path(__file__).parents[2] / "sequences" / "separator.yaml"
# IEC 60204-1, as restated in public material: stop functions win over start functions; an emergency stop overrides all
# other functions in all modes; its reset must not restart the machine; selecting a mode must not start anything.
RULES = """
  X_STOP_WINS: {text: An emergency stop overrides a start, forbid: start separating, while: estop = pressed}
  X_STOP_WINS_2: {text: An emergency stop overrides a start, forbid: start the clean-out run, while: estop = pressed}
  X_NO_RESTART: {text: Only a start starts, only: [start separating, start the clean-out run], makes: rotor_drive <> off}
"""
STOPS = """
  X_STOPS: {text: Emergency stop in every mode, must not be: estop = pressed AND rotor_drive <> off}
"""
MODES = """
requirements:
  X_MODE_SEPARATE: {reachable: rotor_drive = full AND mode = separate}
  X_MODE_CLEAN_OUT: {reachable: rotor_drive = slow AND mode = clean_out}
"""


def asked(text: str) -> str:
    """Put the rules into the file."""
    for title, lines in (("\nhazards:", STOPS), ("\nrequirements:", RULES + MODES.replace("\nrequirements:\n", ""))):
        assert text.count(title + "\n") == 1
        text = text.replace(title + "\n", title + lines)
    return text


def changed(text: str, old: str, new: str) -> str:
    """Plant a mistake; the old text must be there exactly once."""
    assert text.count(old) == 1, old
    return text.replace(old, new)


def test_the_separator_keeps_to_the_rules(verify: Verify) -> None:
    given = verify(asked(SEPARATOR.read_text(encoding="utf-8")))
    verdicts = {result.id: result.verdict for result in given.plain.results}
    assert {name: verdict for name, verdict in verdicts.items() if verdict != "holds"} == {}
    assert {"X_STOP_WINS", "X_STOP_WINS_2", "X_NO_RESTART", "X_STOPS", "X_MODE_SEPARATE", "X_MODE_CLEAN_OUT"} <= set(verdicts)


@pytest.mark.parametrize(
    ("old", "new", "violated"),
    [
        pytest.param("then: {ready: yes}", "then: {ready: yes, rotor_drive: full}", {"X_NO_RESTART"}, id="reset restarts"),
        pytest.param("then: {rotor_drive: off, flush_valve: shut, ready: no}", "then: {flush_valve: shut, ready: no}",
                     {"X_STOPS"}, id="emergency stop lets the rotor run"),
        pytest.param("\ntrips:\n", "\ntrips:\n  mode starts: {when: mode = separate AND ready = yes AND oil_circulated.Q AND "
                     "refit = confirmed AND tool_in_holder, then: {rotor_drive: full}}\n",
                     {"X_NO_RESTART"}, id="mode selection starts"),
        pytest.param("when: estop = pressed\n", "when: estop = pressed AND rotor_drive = off\n",
                     {"X_STOPS"}, id="start wins over stop"),
    ],
)  # fmt: skip
def test_each_rule_broken_is_found(verify: Verify, old: str, new: str, violated: set[str]) -> None:
    """The control: with each rule broken on purpose the same questions are answered by a run."""
    given = verify(changed(asked(SEPARATOR.read_text(encoding="utf-8")), old, new))
    assert violated <= given.plain.violated()
    assert given.exit_code == 1
