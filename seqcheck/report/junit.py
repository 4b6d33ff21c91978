"""Writes verifications as JUnit XML, the form of test results that CI servers read.

There is no standard for it; this is the form that the schema in common use asks for (that of the JUnit task of Ant). Each set
of faults under study of each file is a suite, each hazard, requirement, built-in check and procedure a case. Violated is a
failure. Undecided is an error, not a skipped case: servers let skipped cases pass, and what is not known is no pass.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import PurePath
from xml.etree import ElementTree as ET

from msgspec import Struct

from seqcheck import __version__
from seqcheck.analyse.verdict import Case, Result, Verdict, Verification
from seqcheck.report.lines import CAUTION
from seqcheck.report.narrate import Vocabulary, duration_words
from seqcheck.report.searched import Searched
from seqcheck.report.text import account, coverage, meaning

GROUPS = {"hazard": "hazards", "procedure": "procedures", "range": "checks", "settling": "checks"}
FORBIDDEN = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
CONTROL_PICTURES, FIRST_PRINTED = 0x2400, 0x20
HOST = "localhost"
"""The schema wants a host's name, and lets this stand for one that is not told."""


class Checked(Struct, frozen=True, kw_only=True):
    """What came of one file: its verification, or, where it was refused, the lines that say why."""

    file: str
    sha256: str
    verification: Verification | None = None
    words: Vocabulary | None = None
    searches: Mapping[tuple[str, ...], Searched] = {}
    refused: tuple[str, ...] = ()

    @property
    def stem(self) -> str:
        """The file's name without folders and ending."""
        return PurePath(self.file).stem


class Suite(Struct, frozen=True, kw_only=True):
    """One suite: what it is about, its cases, the seconds that it took."""

    name: str
    package: str
    cases: tuple[ET.Element, ...]
    properties: tuple[tuple[str, str], ...]
    said: tuple[str, ...] = ()
    seconds: float = 0.0


def junit_of(files: Sequence[Checked], *, began: str) -> str:
    """Return the XML text of the answers for *files*. *began* is when: `2026-01-31T12:00:00`, in UTC, as the schema has it."""
    root = ET.Element("testsuites")
    suites = [suite for checked in files for suite in _suites(checked)]
    for number, suite in enumerate(suites):
        root.append(_element(suite, number, began))
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _suites(checked: Checked) -> Iterator[Suite]:
    verification, words = checked.verification, checked.words
    if verification is None or words is None:
        text = "\n".join(checked.refused)
        refused = _case("the file is accepted", _class(checked, (), "file"), ("error", "refused", "the file is refused", text))
        yield Suite(name=checked.file, package=checked.stem, cases=(refused,), properties=_origin(checked))
        return
    for case in verification.cases:
        yield Suite(
            name=f"{verification.machine}, {_with(case.faults)}",
            package=checked.stem,
            cases=tuple(_distinct([_judged(checked, case, result, words) for result in case.results])),
            properties=(*_origin(checked), *_about(verification), *_search(case, checked.searches[case.faults])),
            said=tuple(_said(verification, case)),
            seconds=case.seconds,
        )
    for faults in verification.not_begun:
        problem = ("error", "undecided", "not begun, because of the interruption", "")
        left_out = _case("every question is answered", _class(checked, faults, "checks"), problem)
        name = f"{verification.machine}, {_with(faults)}"
        yield Suite(name=name, package=checked.stem, cases=(left_out,), properties=(*_origin(checked), *_about(verification)))


def _with(faults: tuple[str, ...]) -> str:
    return f"with the fault {' and '.join(faults)}" if faults else "without faults"


def _class(checked: Checked, faults: tuple[str, ...], group: str) -> str:
    """Return the name under which a server groups cases; servers take it apart at its dots."""
    place = f"{checked.stem} {_with(faults)}" if faults else checked.stem
    return f"{place.replace('.', '_')}.{group}"


def _judged(checked: Checked, case: Case, result: Result, words: Vocabulary) -> ET.Element:
    text = result.text or result.condition
    name = f"{result.id}: {text}" if text and text != result.id else result.id
    in_class = _class(checked, case.faults, GROUPS.get(result.kind, "requirements"))
    match result.verdict:
        case Verdict.HOLDS:
            return _case(name, in_class, None)
        case Verdict.VIOLATED:
            told = "\n".join(account(result, words))
            return _case(name, in_class, ("failure", result.kind, f"violated: {meaning(result)}", told))
        case Verdict.UNDECIDED:
            why = result.reason or "not decided"
            return _case(name, in_class, ("error", "undecided", f"undecided: {why}", coverage(case)))


def _case(name: str, in_class: str, problem: tuple[str, str, str, str] | None) -> ET.Element:
    """Return a case; *problem* is the element that it has unless it passes, with type, message and text.

    All questions are answered by one search: what it took is told of the suite.
    """
    element = ET.Element("testcase", name=_line(name), classname=_line(in_class), time="0")
    if problem is not None:
        tag, kind, message, text = problem
        ET.SubElement(element, tag, message=_line(message), type=kind).text = _allowed(text)
    return element


def _distinct(cases: list[ET.Element]) -> Iterator[ET.Element]:
    """Yield the cases, those that would have the same name with a number after it: a server knows a case by its name."""
    seen: dict[str, int] = {}
    for case in cases:
        name = f"{case.get('classname')} {case.get('name')}"
        seen[name] = seen.get(name, 0) + 1
        if seen[name] > 1:
            case.set("name", f"{case.get('name')} ({seen[name]})")
        yield case


def _origin(checked: Checked) -> tuple[tuple[str, str], ...]:
    return (("file", checked.file), ("sha256", checked.sha256), ("seqcheck", __version__))


def _about(verification: Verification) -> tuple[tuple[str, str], ...]:
    return (
        ("machine", verification.machine),
        ("revision", verification.revision),
        ("tick", duration_words(verification.tick_s)),
    )


def _search(case: Case, searched: Searched) -> tuple[tuple[str, str], ...]:
    return (
        *(("fault", fault) for fault in case.faults),
        ("engine", searched.engine),
        ("engine chosen because", searched.reason),
        ("states", str(case.states)),
        ("transitions", str(case.transitions)),
        ("coverage", coverage(case)),
    )


def _said(verification: Verification, case: Case) -> Iterator[str]:
    for finding in case.findings:
        yield f"Finding: {finding.text}" + (f" (line {finding.line})" if finding.line > 1 else "")
    for assumption in verification.assumptions:
        yield f"Assumption: {assumption}"
    for source in verification.sources:
        yield f"Source, as the file gives it: {source.about}: {source.source} (line {source.line})"
    yield CAUTION


def _element(suite: Suite, number: int, began: str) -> ET.Element:
    element = ET.Element(
        "testsuite",
        name=_line(suite.name),
        timestamp=began,
        hostname=HOST,
        tests=str(len(suite.cases)),
        failures=str(_having(suite, "failure")),
        errors=str(_having(suite, "error")),
        time=f"{suite.seconds:.3f}",
        package=_line(suite.package),
        id=str(number),
    )
    properties = ET.SubElement(element, "properties")
    for name, value in suite.properties:
        ET.SubElement(properties, "property", name=name, value=_line(value))
    element.extend(suite.cases)
    ET.SubElement(element, "system-out").text = _allowed("\n".join(suite.said))
    ET.SubElement(element, "system-err").text = ""
    return element


def _having(suite: Suite, tag: str) -> int:
    return sum(1 for case in suite.cases if case.find(tag) is not None)


def _line(text: str) -> str:
    """Return a text as an attribute has it, on one line."""
    return _allowed(" ".join(text.split()))


def _allowed(text: str) -> str:
    """Return a text in which characters that XML 1.0 forbids are shown by others."""
    return FORBIDDEN.sub(_shown, text)


def _shown(found: re.Match[str]) -> str:
    code = ord(found[0])
    return chr(CONTROL_PICTURES + code) if code < FIRST_PRINTED else "\ufffd"
