"""The inner loop of the simulation, batch by batch and visit by visit, as `failing_batch` tells it.

It runs as it is, or compiled by numba; the random numbers are NumPy's own in both.
"""

import numpy as np


def walk(after, back, lots, spoil, start, stop, pieces, spares, errors, rng):
    """Let one batch after another walk a chain, visit by visit: (leg, row, pieces in hand), each (E,).

    start, stop: the first leg, and the one that is no more walked. after, back (S,): where what is good, and what
    failed, goes on. lots (S, N + 1): over how many lots pieces in hand are spread. spoil (S, n): chance that a lot
    fails, of run = row % n. errors (rows,): design errors that the last leg finds in each batch of `pieces`, `spares`
    of them more than wanted.
    """
    runs = spoil.shape[1]
    room = errors.size * (stop - start + 9)
    leg, row, held = np.empty(room, np.int64), np.empty(room, np.int64), np.empty(room, np.int64)
    queue, size = np.zeros(stop + 1, np.int64), 0
    for batch in range(errors.size):
        queue[:] = 0
        queue[start] = pieces
        at, spare, wrong = start, spares, errors[batch]
        while at < stop:
            here = queue[at]
            if size == leg.size:
                more = np.empty(size, np.int64)
                leg, row, held = np.append(leg, more), np.append(row, more), np.append(held, more)
            leg[size], row[size], held[size] = at, batch, here
            size += 1
            failed, chance = 0, spoil[at, batch % runs]
            if chance > 0 and here > 0:
                # Pieces are spread evenly over lots: some lots hold one more than others.
                each, fuller = here // lots[at, here], here % lots[at, here]
                failed = rng.binomial(lots[at, here] - fuller, chance) * each
                if fuller > 0:
                    failed += rng.binomial(fuller, chance) * (each + 1)
            passed, sent = here - failed, max(failed - spare, 0)
            spare -= failed - sent
            if at == stop - 1 and wrong > 0:
                passed, sent, spare = 0, pieces, spares
                wrong -= 1
            queue[at] = 0
            queue[after[at]] += passed
            if sent > 0:
                queue[back[at]] += sent
                at = back[at]
            else:
                at = after[at]
    return leg[:size], row[:size], held[:size]
