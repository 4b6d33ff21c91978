/* Breadth-first search of a machine in packed words: the rival that the engines are measured against.
 *
 * machine.h is generated for one machine: WORDS, STEPS, TESTS, TIMED, Key, State, unpack, settled starts (first_states),
 * take_steps, take_tick and judge. Bit 63 of a key's first word is always set, so that a zero word marks an empty slot.
 *
 * A layer holds all states of one number of steps. Waiting is free: a layer is closed under ticks before its steps are taken.
 *
 *     search EXPECTED STOP     EXPECTED: states to reserve room for; STOP: the number of a test, or -1 for all layers
 *
 * Prints one line of JSON: states, transitions, states of each layer, the least steps to each test that was met, bytes held.
 * BLOCK, set by the compiler's command line, is how many states are visited before their successors are looked up: memory
 * then answers several questions at a time.
 */
#include <inttypes.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

#include "machine.h"

#ifndef BLOCK
#define BLOCK 1
#endif

enum { LARGE = 1 << 21 };

static Key *table, *states;
static uint64_t slots, shift, count, room, transitions;

static inline int same(const Key *a, const Key *b) {
    uint64_t differ = 0;
    for (int w = 0; w < WORDS; w++) differ |= a->w[w] ^ b->w[w];
    return !differ;
}

static inline uint64_t slot_of(const Key *key) {
    uint64_t h = 0;
    for (int w = 0; w < WORDS; w++) {
        h = (h ^ key->w[w]) * UINT64_C(0x9E3779B97F4A7C15);
        h ^= h >> 32;
    }
    return h * UINT64_C(0xD6E8FEB86659FD93) >> shift;
}

/* Room for so many keys, in large pages where the system has them. */
static Key *reserved(uint64_t items) {
    const uint64_t bytes = (items * sizeof(Key) + LARGE - 1) / LARGE * LARGE;
    Key *block = aligned_alloc(LARGE, bytes);
    if (!block) {
        fputs("out of memory\n", stderr);
        exit(1);
    }
#ifdef MADV_HUGEPAGE
    madvise(block, bytes, MADV_HUGEPAGE);
#endif
    return block;
}

static void widen_states(void) {
    Key *wider = reserved(room *= 2);
    memcpy(wider, states, count * sizeof(Key));
    free(states);
    states = wider;
}

static void build_table(void) {
    free(table);
    table = reserved(slots);
    memset(table, 0, slots * sizeof(Key));
    shift = 64 - (uint64_t)__builtin_ctzll(slots);
    for (uint64_t i = 0; i < count; i++) {
        uint64_t at = slot_of(&states[i]);
        while (table[at].w[0]) at = (at + 1) & (slots - 1);
        table[at] = states[i];
    }
}

static inline void see(const Key *key) {
    uint64_t at = slot_of(key);
    for (; table[at].w[0]; at = (at + 1) & (slots - 1))
        if (same(&table[at], key)) return;
    table[at] = *key;
    if (count == room) widen_states();
    states[count++] = *key;
    if (count * 3 > slots * 2) {
        slots *= 2;
        build_table();
    }
}

/* Visit the states from *begin* to *end*, BLOCK at a time: work out the successors, fetch their slots, then look them up. */
static inline void expand(uint64_t begin, uint64_t end, int (*take)(const Key *, Key *)) {
    static Key next[STEPS + 1], fresh[BLOCK * (STEPS + 1)];
    while (begin < end) {
        int n = 0;
        for (int b = 0; b < BLOCK && begin < end; b++, begin++) {
            const Key from = states[begin];
            const int taken = take(&from, next);
            for (int i = 0; i < taken; i++) {
                if (same(&from, &next[i])) continue;
                __builtin_prefetch(&table[slot_of(&next[i])], 1);
                fresh[n++] = next[i];
            }
        }
        for (int i = 0; i < n; i++) see(&fresh[i]);
        transitions += (uint64_t)n;
    }
}

static void see_starts(void) {
    Key key;
    const uint64_t raw = start_count();
    for (uint64_t i = 0; i < raw; i++)
        if (start(i, &key)) see(&key);
}

/* Print the states of each layer until none is left or test *stop* is met; note in *met* the layer where each test was. */
static void search(int stop, int64_t *met) {
    uint64_t begin = 0;
    for (int64_t layer = 0; begin < count; layer++) {
        for (uint64_t i = begin; TIMED && i < count;) {
            const uint64_t known = count;
            expand(i, known, take_tick);
            i = known;
        }
        const uint64_t end = count;
        for (uint64_t i = begin; i < end; i++) judge(&states[i], layer, met);
        printf("%s%" PRIu64, layer ? ", " : "", end - begin);
        if (stop >= 0 && met[stop] >= 0) break;
        expand(begin, end, take_steps);
        begin = end;
    }
}

int main(int argc, char **argv) {
    const uint64_t expected = argc > 1 ? strtoull(argv[1], NULL, 10) : 0;
    const int stop = argc > 2 ? atoi(argv[2]) : -1;
    int64_t met[TESTS + 1];
    for (int t = 0; t <= TESTS; t++) met[t] = -1;
    for (slots = 1024; slots * 2 < expected * 3;) slots *= 2;
    states = reserved(room = expected + 1024);
    build_table();
    see_starts();
    printf("{\"layers\": [");
    search(stop, met);
    printf("], \"met\": {");
    const char *comma = "";
    for (int t = 0; t < TESTS; t++)
        if (met[t] >= 0) {
            printf("%s\"%d\": %" PRId64, comma, test_numbers[t], met[t]);
            comma = ", ";
        }
    printf("}, \"states\": %" PRIu64 ", \"transitions\": %" PRIu64, count, transitions);
    printf(", \"bytes\": %" PRIu64 "}\n", (slots + room) * (uint64_t)sizeof(Key));
    return 0;
}
