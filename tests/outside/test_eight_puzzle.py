"""The eight-tile puzzle: 181,440 states, at most 31 moves, in the time and memory that `plain` promises."""

import json
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from tests.outside import puzzles
from tests.outside.answer import answer

# OEIS A089473: positions that need n moves, the gap starting in a corner. From 123 456 78- two need 31: 647 85- 321 and
# 867 254 3-1 (its example).
BY_MOVES = (1, 2, 4, 8, 16, 20, 39, 62, 116, 152, 286, 396, 748, 1024, 1893, 2512, 4485, 5638, 9529, 10878, 16993, 17110,
            23952, 20224, 24047, 15578, 14560, 6274, 3910, 760, 221, 2)  # fmt: skip
START = "123456780"
FARTHEST = {"far": "647850321", "also_far": "867254301"}
MOST_SECONDS = 2.0
MOST_BYTES_A_STATE = 400
MEASURED = """
import json, resource, sys
from seqcheck.cli.main import group
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:
    group.main(["verify", sys.argv[1], "--engine", "plain", "--json", sys.argv[2]])
finally:
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(json.dumps([before, after]), file=sys.stderr)
"""


def processor_seconds() -> float:
    """Return what ended child processes have used: on an idle machine their whole time, on a busy one not others' time."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def moves_needed() -> dict[str, int]:
    """Search the puzzle on strings: shares nothing with the tool."""
    needed = {START: 0}
    layer = [START]
    while layer:
        following = []
        for board in layer:
            gap = board.index("0")
            for cell in puzzles.BESIDE[gap]:
                swapped = board.translate({ord("0"): board[cell], ord(board[cell]): "0"})
                if swapped not in needed:
                    needed[swapped] = needed[board] + 1
                    following.append(swapped)
        layer = following
    return needed


@pytest.mark.slow
def test_the_whole_puzzle_in_time_and_memory(tmp_path: Path) -> None:
    """181,440 states, 483,840 transitions, 31 moves: OEIS A089473 and counting (each gap has 2, 3 or 4 moves)."""
    needed = moves_needed()
    assert tuple(list(needed.values()).count(n) for n in range(32)) == BY_MOVES
    some = {f"after_{n}": next(board for board, moves in needed.items() if moves == n) for n in range(0, 31, 5)}
    file, written = tmp_path / "puzzle.yaml", tmp_path / "answer.json"
    file.write_text(puzzles.eight_puzzle(START, {**some, **FARTHEST}), encoding="utf-8")

    began = processor_seconds()
    done = subprocess.run([sys.executable, "-c", MEASURED, file, written], capture_output=True, text=True, check=False)
    seconds = processor_seconds() - began

    given = answer(done.returncode, written.read_text(encoding="utf-8"))
    assert (given.exit_code, given.complete) == (0, True), done.stderr
    assert given.plain.states == sum(BY_MOVES) == 181_440
    assert given.plain.transitions == 483_840
    for name in some:
        assert given.plain.of(name).steps == int(name.removeprefix("after_"))
    for name in FARTHEST:
        assert given.plain.of(name).steps == 31
    before, after = json.loads(done.stderr.splitlines()[-1])
    assert (after - before) * 1024 / given.plain.states < MOST_BYTES_A_STATE
    assert seconds < MOST_SECONDS


def test_a_position_of_the_other_half_is_never_reached(tmp_path: Path) -> None:
    """Two tiles swapped can't be had: half of all 9! positions (Johnson and Story, 1879)."""
    file, written = tmp_path / "puzzle.yaml", tmp_path / "answer.json"
    file.write_text(puzzles.eight_puzzle(START, {"swapped": "213456780"}), encoding="utf-8")
    command = [sys.executable, "-m", "seqcheck", "verify", str(file), "--json", str(written)]
    done = subprocess.run(command, capture_output=True, check=False)
    given = answer(done.returncode, written.read_text(encoding="utf-8"))
    assert given.plain.of("swapped").verdict == "violated"
    assert given.exit_code == 1
