"""The instructions: their numbers, which of their parts are registers, and which end a straight run of arithmetic."""

(
    UNPACK,  # d: value of a field; a word, b shift, c mask, n lowest
    COPY,
    IS_ZERO,
    IS_SOME,
    NEGATE,
    ADD,
    SUBTRACT,
    MULTIPLY,
    DIVIDE,
    MODULO,
    RAISE,
    LESS,
    AT_MOST,
    EQUAL,
    UNEQUAL,
    BOTH,
    EITHER,
    BUT_NOT,
    CHOOSE,
    LEAST,
    MOST,
    SIZE_OF,
    ADD_N,
    EQUAL_N,
    UNEQUAL_N,
    LESS_N,
    MORE_N,
    LEAST_N,
    MOST_N,
    WRAP_N,  # d: a, less n if it is n or more
    MOVE_IF,  # where a: d becomes b
    FAIL_IF,  # where a, and nothing failed before: d becomes n
    NOTE,  # note n if a holds in a lane that has not failed
    FIRST,  # thing n is found if a holds; by step b
    FIRST_SETTLED,  # likewise at the end of settling, by the step that the lane takes
    ENTER,  # values of a enter variable b, bytes from n on; the lowest is c
    PACK,  # the value of a, less n, goes to word d at shift b; c: the first to do so
    MARK,  # sources with a get mark n
    SKIP_UNLESS,  # go to n unless a holds in some lane
    SKIP_FOUND,  # go to n if thing a is found
    SKIP_NOTED,  # go to n if note a is taken
    END,
    EMIT,  # lanes with a take step b; c: they settle; n: all lanes do, states are one word, and none settles
    TROUBLE,  # lanes where a is not 0 fail at step b
) = range(44)

D, A, B, C = 1, 2, 4, 8
"""Parts of an instruction that are registers."""

_UNARY, _BINARY = D | A, D | A | B
READS_AND_WRITES: dict[int, int] = {
    UNPACK: D,
    CHOOSE: D | A | B | C,
    MOVE_IF: D | A | B,
    FAIL_IF: D | A,
    NOTE: A,
    FIRST: A,
    FIRST_SETTLED: A,
    ENTER: A,
    PACK: A,
    MARK: A,
    SKIP_UNLESS: A,
    SKIP_FOUND: 0,
    SKIP_NOTED: 0,
    END: 0,
    EMIT: A,
    TROUBLE: A,
}
READS_AND_WRITES |= dict.fromkeys((COPY, IS_ZERO, IS_SOME, NEGATE, SIZE_OF), _UNARY)
READS_AND_WRITES |= dict.fromkeys((ADD_N, EQUAL_N, UNEQUAL_N, LESS_N, MORE_N, LEAST_N, MOST_N, WRAP_N), _UNARY)
READS_AND_WRITES |= dict.fromkeys((ADD, SUBTRACT, MULTIPLY, DIVIDE, MODULO, RAISE, LESS, AT_MOST, EQUAL, UNEQUAL), _BINARY)
READS_AND_WRITES |= dict.fromkeys((BOTH, EITHER, BUT_NOT, LEAST, MOST), _BINARY)

JUMPS = frozenset({SKIP_UNLESS, SKIP_FOUND, SKIP_NOTED})
