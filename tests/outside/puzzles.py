"""Writes puzzles and algorithms with published answers in the sequence language. People or the plant make the moves."""

import json
from collections.abc import Iterable, Iterator, Mapping

Effects = Mapping[str, str | int]


def quoted(text: str | int) -> str:
    """Return a text as a YAML scalar that means just that."""
    return str(text) if isinstance(text, int) else json.dumps(text)


def mapping(effects: Effects) -> str:
    """Return effects as a YAML flow mapping."""
    return "{" + ", ".join(f"{name}: {quoted(value)}" for name, value in effects.items()) + "}"


def people(moves: Iterable[tuple[str, str, Effects]]) -> list[str]:
    """Return the section `people` for moves (name, condition, effects)."""
    return ["people:", *(f"  {quoted(n)}: {{if: {quoted(c)}, then: {mapping(e)}}}" for n, c, e in moves)]


def goals(conditions: Mapping[str, str]) -> list[str]:
    """Return requirements that each of some conditions can be reached."""
    return ["requirements:", *(f"  {n}: {{text: {quoted(n)}, reachable: {quoted(c)}}}" for n, c in conditions.items())]


def written(*blocks: Iterable[str]) -> str:
    """Join blocks of lines to a file."""
    return "\n".join(line for block in blocks for line in block) + "\n"


def wolf_goat_cabbage(*, careful: bool) -> str:
    """A farmer ferries one at a time. *careful*: no crossing leaves a pair alone that must not be."""
    bank = {"left": "right", "right": "left"}

    def moves() -> Iterator[tuple[str, str, Effects]]:
        for here, there in bank.items():
            for load in (None, "wolf", "goat", "cabbage"):
                alone = [f"NOT ({a} = {here} AND {b} = {here})"
                         for a, b in (("wolf", "goat"), ("goat", "cabbage")) if load not in {a, b}]  # fmt: skip
                with_it = [f"{load} = {here}"] if load else []
                condition = " AND ".join([f"farmer = {here}", *with_it, *(alone if careful else [])])
                yield (
                    f"to the {there} with {load or 'nothing'}",
                    condition,
                    {"farmer": there, **({load: there} if load else {})},
                )

    eaten = "(wolf = goat AND wolf <> farmer) OR (goat = cabbage AND goat <> farmer)"
    return written(
        ["machine: Wolf, goat and cabbage", "parts:"],
        [f"  {who}: [left, right]" for who in ("farmer", "wolf", "goat", "cabbage")],
        people(moves()),
        ["hazards:", f"  eaten: {{text: Something is eaten, must not be: {quoted(eaten)}}}"],
        goals({"across": "farmer = right AND wolf = right AND goat = right AND cabbage = right"}),
    )


def jugs(big: int, small: int, wanted: int) -> str:
    """Two jugs, a tap and a sink."""
    to_small, to_big = f"MIN(b, {small} - s)", f"MIN(s, {big} - b)"
    moves: list[tuple[str, str, Effects]] = [
        ("fill the big jug", "TRUE", {"b": big}),
        ("fill the small jug", "TRUE", {"s": small}),
        ("empty the big jug", "TRUE", {"b": 0}),
        ("empty the small jug", "TRUE", {"s": 0}),
        ("pour big into small", "TRUE", {"b": f"b - {to_small}", "s": f"s + {to_small}"}),
        ("pour small into big", "TRUE", {"b": f"b + {to_big}", "s": f"s - {to_big}"}),
    ]
    return written(
        [f"machine: Jugs of {big} and {small}", "parts:", f"  b: {{range: 0..{big}}}", f"  s: {{range: 0..{small}}}"],
        people(moves),
        goals({"measured": f"b = {wanted} OR s = {wanted}"}),
    )


def missionaries_and_cannibals(pairs: int) -> str:
    """A boat for one or two; on neither bank may the cannibals be more than the missionaries, if there are any."""

    def moves() -> Iterator[tuple[str, str, Effects]]:
        for m, c in ((1, 0), (2, 0), (0, 1), (0, 2), (1, 1)):
            for boat, other, sign in (("left", "right", "-"), ("right", "left", "+")):
                new_m, new_c = f"(m {sign} {m})", f"(c {sign} {c})"
                fits = f"{new_m} >= 0 AND {new_m} <= {pairs} AND {new_c} >= 0 AND {new_c} <= {pairs}"
                kept = f"({new_m} = 0 OR {new_m} = {pairs} OR {new_m} = {new_c})"
                effects: Effects = {"m": f"m {sign} {m}", "c": f"c {sign} {c}", "boat": other}
                yield f"{m} and {c} to the {other}", f"boat = {boat} AND {fits} AND {kept}", effects

    side = f"{{range: 0..{pairs}, starts: {pairs}}}"
    return written(
        ["machine: Missionaries and cannibals", "parts:", f"  m: {side}", f"  c: {side}", "  boat: [left, right]"],
        people(moves()),
        goals({"across": "m = 0 AND c = 0"}),
    )


def hanoi(discs: int) -> str:
    """Towers of Hanoi; disc 1 is the smallest."""

    def moves() -> Iterator[tuple[str, str, Effects]]:
        for disc in range(1, discs + 1):
            for here, there in ((h, t) for h in "abc" for t in "abc" if h != t):
                free = [f"d{i} <> {peg}" for i in range(1, disc) for peg in (here, there)]
                condition = " AND ".join([f"d{disc} = {here}", *free])
                yield f"disc {disc} from {here} to {there}", condition, {f"d{disc}": there}

    return written(
        ["machine: Towers of Hanoi", "parts:", *(f"  d{i}: [a, b, c]" for i in range(1, discs + 1))],
        people(moves()),
        goals({"moved": " AND ".join(f"d{i} = c" for i in range(1, discs + 1))}),
    )


BESIDE = {0: (1, 3), 1: (0, 2, 4), 2: (1, 5), 3: (0, 4, 6), 4: (1, 3, 5, 7), 5: (2, 4, 8), 6: (3, 7), 7: (4, 6, 8), 8: (5, 7)}


def eight_puzzle(start: str, ends: Mapping[str, str]) -> str:
    """Tiles 1 to 8 and a gap (0) on a square of nine cells, written row by row."""
    moves: list[tuple[str, str, Effects]] = [
        (f"from {there} to {gap}", f"c{gap} = 0", {f"c{gap}": f"c{there}", f"c{there}": 0})
        for gap, cells in BESIDE.items()
        for there in cells
    ]
    return written(
        ["machine: Eight tiles", "parts:"],
        [f"  c{i}: {{range: 0..8, starts: {tile}}}" for i, tile in enumerate(start)],
        people(moves),
        goals({name: " AND ".join(f"c{i} = {tile}" for i, tile in enumerate(end)) for name, end in ends.items()}),
    )


def counters(count: int, modulus: int) -> str:
    """Counters that know nothing of each other."""
    return written(
        ["machine: Counters", "parts:", *(f"  n{i}: {{range: 0..{modulus - 1}}}" for i in range(count))],
        people((f"count {i}", "TRUE", {f"n{i}": f"(n{i} + 1) MOD {modulus}"}) for i in range(count)),
    )


def philosophers_both_forks(count: int) -> str:
    """Each takes both forks at once, so none eats beside one who eats."""

    def moves() -> Iterator[tuple[str, str, Effects]]:
        for i in range(count):
            left, right = (i - 1) % count, (i + 1) % count
            yield f"{i} eats", f"NOT p{i} AND NOT p{left} AND NOT p{right}", {f"p{i}": "TRUE"}
            yield f"{i} thinks", f"p{i}", {f"p{i}": "FALSE"}

    return written(
        ["machine: Philosophers who take both forks", "parts:", *(f"  p{i}: bool" for i in range(count))],
        people(moves()),
    )


def philosophers_one_fork(count: int) -> str:
    """Each takes the left fork, then the right one, and lays both down together. Fork i lies left of philosopher i."""

    def moves() -> Iterator[tuple[str, str, Effects]]:
        for i in range(count):
            left, right = (i - 1) % count, (i + 1) % count
            yield f"{i} takes left", f"p{i} = thinks AND p{left} <> eats", {f"p{i}": "waits"}
            yield f"{i} takes right", f"p{i} = waits AND p{right} = thinks", {f"p{i}": "eats"}
            yield f"{i} lays down", f"p{i} = eats", {f"p{i}": "thinks"}

    return written(
        ["machine: Philosophers who take one fork first", "parts:"],
        [f"  p{i}: [thinks, waits, eats]" for i in range(count)],
        people(moves()),
        goals({"all_wait": " AND ".join(f"p{i} = waits" for i in range(count))}),
    )


def peterson(*, turn_given: bool = True, flag_first: bool = True) -> str:
    """Peterson's algorithm, four places a process: away, halfway, waiting, inside.

    Interest is shown on leaving `away`, the turn given on leaving `halfway`. Broken variants: the turn is never given to
    the other; the turn is given before interest is shown.
    """

    def moves() -> Iterator[tuple[str, str, Effects]]:
        for me, other in ((0, 1), (1, 0)):
            give: Effects = {"turn": f"p{other}_turn"} if turn_given else {}
            first, second = ({}, give) if flag_first else (give, {})
            not_interested = f"p{other} = away" if flag_first else f"(p{other} = away OR p{other} = halfway)"
            yield f"{me} begins", f"p{me} = away", {f"p{me}": "halfway", **first}
            yield f"{me} goes on", f"p{me} = halfway", {f"p{me}": "waiting", **second}
            may_enter = f"p{me} = waiting AND ({not_interested} OR turn = p{me}_turn)"
            yield f"{me} enters", may_enter, {f"p{me}": "inside"}
            yield f"{me} leaves", f"p{me} = inside", {f"p{me}": "away"}

    return written(
        ["machine: Two that share one place", "parts:", *(f"  p{i}: [away, halfway, waiting, inside]" for i in (0, 1))],
        ["  turn: [p0_turn, p1_turn]"],
        people(moves()),
        ["hazards:", "  both: {text: Both inside, must not be: p0 = inside AND p1 = inside}"],
        goals({"one_enters": "p0 = inside", "other_enters": "p1 = inside"}),
    )


def fischer(processes: int, set_within_s: int, wait_at_least_s: int) -> str:
    """Fischer's timed mutual exclusion: see the place free, claim it within A, wait at least B, enter if still the owner."""
    lines = ["machine: Timed mutual exclusion", "tick: 1 s", "parts:", f"  owner: {{range: 0..{processes}}}"]
    lines += [f"  p{i}: [away, claiming, waiting, inside]" for i in range(1, processes + 1)] + ["plant:"]
    for i in range(1, processes + 1):
        enters = quoted(f"SEL(owner = {i}, away, inside)")
        lines += [
            f"  {i} sees it free: {{when: p{i} = away AND owner = 0, then: {{p{i}: claiming}}}}",
            f"  {i} claims it: {{when: p{i} = claiming, after: 0..{set_within_s} s, then: {{p{i}: waiting, owner: {i}}}}}",
            f"  {i} looks again: {{when: p{i} = waiting, after: {wait_at_least_s} s or more, then: {{p{i}: {enters}}}}}",
            f"  {i} leaves: {{when: p{i} = inside, then: {{p{i}: away, owner: 0}}}}",
        ]
    pairs = [(i, j) for i in range(1, processes + 1) for j in range(i + 1, processes + 1)]
    both = " OR ".join(f"(p{i} = inside AND p{j} = inside)" for i, j in pairs)
    return written(
        lines,
        ["hazards:", f"  both: {{text: Two inside, must not be: {both}}}"],
        goals({f"enters_{i}": f"p{i} = inside" for i in range(1, processes + 1)}),
    )


TURNS = {  # the three faces that leave the corner down-back-left alone: from which place a corner comes, and its twist
    "up": ((3, 0, 1, 2, 4, 5, 6), (0, 0, 0, 0, 0, 0, 0)),
    "right": ((4, 1, 2, 0, 6, 5, 3), (2, 0, 0, 1, 1, 0, 2)),
    "front": ((1, 5, 2, 3, 0, 4, 6), (1, 2, 0, 0, 2, 1, 0)),
}
TWISTED = {0: "o{}", 1: "SEL(o{0} = 0, SEL(o{0} = 1, 0, 2), 1)", 2: "SEL(o{0} = 0, SEL(o{0} = 1, 1, 0), 2)"}


def pocket_cube() -> str:
    """The cube of two by two by two, one corner held: p0 to p6 say which corner is at a place, o0 to o6 how it is twisted.

    Places: up-right-front, up-front-left, up-left-back, up-back-right, down-front-right, down-left-front, down-right-back.
    """

    def moves() -> Iterator[tuple[str, str, Effects]]:
        for face, (origin, twist) in TURNS.items():
            place: tuple[int, ...] = tuple(range(7))
            turned: tuple[int, ...] = (0,) * 7
            for name in ("a quarter", "a half", "three quarters"):
                turned = tuple((turned[i] + t) % 3 for i, t in zip(origin, twist, strict=True))
                place = tuple(place[i] for i in origin)
                moved = [i for i in range(7) if place[i] != i]
                corners: Effects = {f"p{i}": f"p{place[i]}" for i in moved}
                twists: Effects = {f"o{i}": TWISTED[turned[i]].format(place[i]) for i in moved}
                yield f"{face} {name}", "TRUE", {**corners, **twists}

    return written(
        ["machine: Pocket cube", "parts:"],
        [f"  p{i}: {{range: 0..6, starts: {i}}}" for i in range(7)],
        [f"  o{i}: {{range: 0..2}}" for i in range(7)],
        people(moves()),
    )
