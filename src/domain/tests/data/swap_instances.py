"""Makes swap.json: random swap problems and what scipy says of them.

    python3 -m venv /tmp/v && /tmp/v/bin/pip install scipy==1.17.1 numpy
    /tmp/v/bin/python swap_instances.py > swap.json

A problem is a matrix of costs, rows being open seats, the most important first, columns spares,
null a pair that does not go together. scipy.optimize.linear_sum_assignment is asked three times,
in whole numbers that floating point holds exactly:

* how many seats can be filled at all (weight 1 for every pair that goes together);
* which is the best set of seats, by powers of two (2 ** (rows - row - 1)), so that a more important
  seat outweighs all the less important ones together: another scale than the one under test;
* the least cost of filling exactly those seats.
"""

import json
import random

import numpy
import scipy
from scipy.optimize import linear_sum_assignment


def best(weights):
    matrix = numpy.array(weights, dtype=float)
    rows, columns = linear_sum_assignment(matrix, maximize=True)
    return [(int(r), int(c)) for r, c in zip(rows, columns)]


def solve(costs):
    rows, columns = len(costs), len(costs[0])
    goes = [[c is not None for c in row] for row in costs]
    ones = [[float(goes[r][c]) for c in range(columns)] for r in range(rows)]
    filled = sum(1 for r, c in best(ones) if goes[r][c])
    powers = [[float(2 ** (rows - r - 1)) * goes[r][c] for c in range(columns)] for r in range(rows)]
    seats = sorted(r for r, c in best(powers) if goes[r][c])
    assert len(seats) == filled
    far = 1_000_000
    chosen = [[far if costs[r][c] is None else costs[r][c] for c in range(columns)] for r in seats]
    cost = 0
    if seats:
        matrix = numpy.array(chosen, dtype=float)
        picked, taken = linear_sum_assignment(matrix)
        cost = int(matrix[picked, taken].sum())
        assert cost < far
    return {"costs": costs, "seats": seats, "cost": cost}


def problem(rng):
    rows, columns = rng.randint(1, 14), rng.randint(1, 16)
    stations = rng.randint(1, 5)
    drive = [[0 if a == b else rng.choice([5, 8, 12, 20, 31, 240]) for b in range(stations)] for a in range(stations)]
    kinds = rng.randint(1, 3)
    seats = [(rng.randrange(stations), rng.randrange(kinds)) for _ in range(rows)]
    spares = [(rng.randrange(stations), rng.randrange(kinds), rng.random() < 0.2) for _ in range(columns)]
    rider = [[rng.random() < 0.8 for _ in spares] for _ in seats]
    return [
        [
            2 * drive[there][here] + reserve if kind == wanted and rider[n][m] else None
            for m, (there, kind, reserve) in enumerate(spares)
        ]
        for n, (here, wanted) in enumerate(seats)
    ]


rng = random.Random(20261125)
instances = [solve([[None if c is None else int(c) for c in row] for row in problem(rng)]) for _ in range(80)]
print(json.dumps({"source": f"scipy {scipy.__version__}, scipy.optimize.linear_sum_assignment", "instances": instances}, separators=(",", ":")))
