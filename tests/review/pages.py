"""Reviews for the tests of the page: of the mixer, and of a machine whose every name tries to break out of it."""

import hashlib
import time
from pathlib import Path

from seqcheck.analyse.verify import verification, verify_case
from seqcheck.check.check import check
from seqcheck.cli.load import load_any
from seqcheck.cli.report import Options
from seqcheck.cli.reviewing import Reviewing
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.report.narrate import Vocabulary
from seqcheck.review.gathering import gather
from seqcheck.review.record import Review
from seqcheck.search.engine import Limits
from seqcheck.search.engines import engine
from seqcheck.syntax.read import read

MARKUP = "<script>alert(1)</script>"
CLOSING = "</script></style></title><img src=x onerror=alert(2)>"
QUOTES = "\"double\" 'single' `back` & &amp; ${x} {{x}} %s \\u003c"
RIGHT_TO_LEFT = "\u05e9\u05dc\u05d5\u05dd 5 \u05e2\u05d5\u05dc\u05dd"
EMOJI = "\U0001f9ef\U0001f527"
LONG = "long" + "x" * 296
LONG_NAME = LONG[:200]
"""As long as a name may be."""

HOSTILE = f"""
machine: |-
  {MARKUP}
revision: |-
  {CLOSING}
parts:
  lid: {{states: [shut, open], text: '{RIGHT_TO_LEFT}'}}
  paddle: {{states: [still, turning], text: '{EMOJI}'}}
sensors:
  lid_shut: lid = shut
outputs:
  motor: {{states: [idle, run], text: '{MARKUP}'}}
timers:
  rest: {{kind: TON, in: motor = idle, pt: 2 s, text: '{CLOSING}', source: '{MARKUP}'}}
commands:
  '{MARKUP} start':
    permissives: {{'{CLOSING} shut': lid_shut, '{RIGHT_TO_LEFT} rested': rest.Q}}
    then: {{motor: run}}
  '{LONG_NAME}': {{then: {{motor: idle}}}}
plant:
  '{EMOJI} speeds up': {{when: motor = run AND paddle = still, after: 1 s, then: {{paddle: turning}}}}
  '{RIGHT_TO_LEFT} runs down': {{when: motor = idle AND paddle = turning, after: 1..2 s, then: {{paddle: still}}}}
people:
  '{CLOSING} open': {{if: lid = shut, then: {{lid: open}}}}
  '{LONG_NAME[:190]} shut': {{if: lid = open, then: {{lid: shut}}}}
faults:
  '{MARKUP} stuck': {{sensor: lid_shut, stuck: TRUE}}
hazards:
  H1: {{text: '{CLOSING}', must not be: lid = open AND paddle = turning, source: '{MARKUP}'}}
  '{MARKUP}': {{text: |-
      {QUOTES}
    , must not be: lid = open AND motor = run}}
requirements:
  R1: {{text: '{RIGHT_TO_LEFT}', reachable: paddle = turning}}
  '{LONG_NAME}': {{text: '{LONG}', reachable: lid = open}}
procedures:
  '{CLOSING} mix':
    steps: [{{wait: 2 s}}, '{MARKUP} start', {{until: paddle = turning}}, '{LONG_NAME}', {{until: paddle = still}}]
    ends with: paddle = still
""".replace("{text: |-\n      " + QUOTES + "\n    ,", "{text: '" + QUOTES.replace("'", "''") + "',")


def bare_review(text: str) -> Review:
    """Return a review of a text with its verdicts alone, asked in this process."""
    sink = Sink()
    document = read(text.encode(), sink)
    assert document is not None
    machine = check(document, sink)
    assert machine is not None
    model = compile_machine(machine)
    plain = engine("plain")
    limits = Limits(states=2000)
    found = verification(
        [model], lambda one: verify_case(one, plain, limits, lambda _: None, lambda id_: compile_observed(machine, id_))
    )
    return Review(
        file="machine.yaml",
        text=text,
        sha256=hashlib.sha256(text.encode()).hexdigest(),
        tool_version="0",
        date="2026-01-01",
        model=model,
        words=Vocabulary.of(model),
        warnings=(),
        verification=found,
        searched={},
        proof=None,
        faults=None,
        procedures=None,
        procedure_results=(),
        audit=None,
        unanswered=(),
        seconds={},
    )


def review_of(text: str, folder: Path, limits: Limits = Limits(), *, thorough: bool = True) -> Review:  # noqa: B008 - it is frozen
    """Return the review of a file with a text."""
    path = folder / "machine.yaml"
    path.write_text(text, encoding="utf-8")
    loaded = load_any(path)
    assert loaded.machine is not None, loaded.diagnostics
    options = Options(up_to=1, thorough=thorough, limits=limits, proof=None, date="2026-01-01", began=time.monotonic())
    reviewing = Reviewing(loaded, loaded.machine, options)
    return gather(reviewing.about(), reviewing.questions())
