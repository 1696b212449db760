"""Shortest chains by a mixed-integer solver, to check the chains of the program against.

Makes 200 sets of places (whole millimetres, the feed first), finds the least rectilinear way that starts at the feed,
visits every other place once and ends anywhere, and writes places and least way to chains.json beside this file.

    python3 -m venv venv && venv/bin/pip install numpy==2.* scipy==1.*
    venv/bin/python tests/scripts/chains.py

The method has nothing in common with the program's: each pair of places is a yes-or-no variable, each place but the
feed and one free end is joined twice, and whenever the solution falls into separate parts, a constraint joins them.
"""

import itertools
import json
import pathlib
import random

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array


def scattered(chance, count):
    """Places anywhere in a room of 6 m by 4 m."""
    return [[chance.randrange(6001), chance.randrange(4001)] for _ in range(count + 1)]


def rows(chance, count):
    """Straight rows in an L-shaped pair of rooms, a corner of the grid left out, the feed anywhere."""
    columns = chance.randrange(4, 8)
    step_x, step_y = chance.randrange(500, 1400), chance.randrange(500, 1400)
    grid = [[350 + step_x * (at % columns), 350 + step_y * (at // columns)] for at in range(count + count // 4)]
    kept = chance.sample(grid, count)
    return [[chance.randrange(6001), chance.randrange(4001)]] + kept


def parts(count, pairs):
    """The separate parts that chosen pairs make of all places."""
    part = list(range(count))

    def root(place):
        while part[place] != place:
            place = part[place]
        return place

    for a, b in pairs:
        part[root(a)] = root(b)
    found = {}
    for place in range(count):
        found.setdefault(root(place), set()).add(place)
    return list(found.values())


def least_way(places):
    """The least way, proved by the solver."""
    count = len(places)
    pairs = list(itertools.combinations(range(count), 2))
    way = [abs(places[a][0] - places[b][0]) + abs(places[a][1] - places[b][1]) for a, b in pairs]
    # Variables: one for each pair, then one for each place: 1 where the chain ends there.
    size = len(pairs) + count
    cost = np.array(way + [0] * count, dtype=float)
    rules = [({len(pairs) + place: 1.0 for place in range(1, count)}, 1.0, 1.0)]
    for place in range(count):
        joined = {at: 1.0 for at, pair in enumerate(pairs) if place in pair}
        if place == 0:
            rules.append((joined, 1.0, 1.0))
        else:
            rules.append(({**joined, len(pairs) + place: 1.0}, 2.0, 2.0))
    upper = np.ones(size)
    upper[len(pairs)] = 0.0
    while True:
        at = [(row, column, value) for row, rule in enumerate(rules) for column, value in rule[0].items()]
        matrix = coo_array(([v for _, _, v in at], ([r for r, _, _ in at], [c for _, c, _ in at])),
                           shape=(len(rules), size)).tocsr()
        limits = LinearConstraint(matrix, [rule[1] for rule in rules], [rule[2] for rule in rules])
        found = milp(cost, constraints=limits, integrality=np.ones(size), bounds=Bounds(np.zeros(size), upper),
                     options={"mip_rel_gap": 0.0})
        assert found.status == 0, found.message
        chosen = [pair for pair, value in zip(pairs, found.x) if value > 0.5]
        separate = parts(count, chosen)
        if len(separate) == 1:
            return round(found.fun)
        for part in separate:
            # Each part must be left at least once.
            leaving = {at: 1.0 for at, (a, b) in enumerate(pairs) if (a in part) != (b in part)}
            rules.append((leaving, 1.0, np.inf))


def main():
    chance = random.Random(2026)
    chains = []
    for at in range(200):
        count = 16 + at % 25
        places = (scattered if at % 2 == 0 else rows)(chance, count)
        chains.append({"places": places, "least": least_way(places)})
        print(at, count, chains[-1]["least"], flush=True)
    text = ",\n".join(json.dumps(chain, separators=(",", ":")) for chain in chains)
    pathlib.Path(__file__).with_name("chains.json").write_text(f"[\n{text}\n]\n")


if __name__ == "__main__":
    main()
