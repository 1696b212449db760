"""Solves forty random networks with numpy, as a second method for the nodal analysis.

Run as: python3 tests/scripts/network_by_numpy.py > tests/scripts/network_by_numpy.json
Incidence matrices and a least-squares solve, so that nothing of the Rust method (merged nodes, reference rows,
hand-written elimination) is repeated here.
"""

import json

import numpy

random = numpy.random.default_rng(20260302)


def branches(nodes):
    """A random tree, so that nothing floats, and as many further resistances as nodes."""
    pairs = [(int(random.integers(0, at)), at) for at in range(1, nodes)]
    for _ in range(nodes):
        a, b = random.choice(nodes, 2, replace=False)
        pairs.append((int(a), int(b)))
    return [(a, b, float(10 ** random.uniform(-2, 4))) for a, b in pairs]


def incidence(nodes, pairs):
    matrix = numpy.zeros((len(pairs), nodes))
    for row, (a, b) in enumerate(pairs):
        matrix[row, a], matrix[row, b] = 1, -1
    return matrix


def one_net():
    nodes = int(random.integers(3, 25))
    resistances = branches(nodes)
    sources = []
    for _ in range(int(random.integers(1, 4))):
        a, b = random.choice(nodes, 2, replace=False)
        sources.append((int(a), int(b), float(random.uniform(-400, 400)), float(10 ** random.uniform(-1, 2))))
    wires = incidence(nodes, [pair[:2] for pair in resistances])
    laplacian = wires.T @ numpy.diag([1 / pair[2] for pair in resistances]) @ wires
    ends = incidence(nodes, [source[:2] for source in sources])
    siemens = numpy.array([1 / source[3] for source in sources])
    volts_of = numpy.array([source[2] for source in sources])
    live = laplacian + ends.T @ numpy.diag(siemens) @ ends
    volts = numpy.linalg.pinv(live, rcond=1e-14) @ (ends.T @ (siemens * volts_of))
    across = numpy.zeros(nodes)
    across[0], across[-1] = 1, -1
    ohm = across @ numpy.linalg.lstsq(laplacian, across, rcond=1e-14)[0]
    return {
        "nodes": nodes,
        "resistances": resistances,
        "sources": sources,
        "volts": [float(v - volts[0]) for v in volts],
        "ohm_first_last": float(ohm),
    }


print(json.dumps({"net": [one_net() for _ in range(40)]}))
