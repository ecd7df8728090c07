"""Posteriors of networks in the Bayesian-network interchange format, by a general library from PyPI (pyagrum).

Usage: bn.py [--time] FILE...        One JSON object a file on stdout: {"file", "seconds", "values": {variable: [p, ...]}}.

The library's own reader reads each file. That reader keeps single precision, so the tables are entered again from the text
in double precision before the posteriors are computed. Evidence stands in comments: "// seen VARIABLE = VALUE".
"""

import json
import re
import resource
import sys
import time

import pyagrum

# More than this and the library has lost its way in a table; better an error than a machine without memory.
LIMIT = 6 << 30


def parse(text):
    """Values and evidence of each variable; parents and rows of each table."""
    variables, tables = {}, {}
    seen = dict(re.findall(r"// seen (\w+) = (\w+)", text))
    for name, body in re.findall(r"variable (\w+) \{(.*?)\n\}", text, re.S):
        variables[name] = re.search(r"\{ (.*?) \}", body).group(1).split(", ")
    for head, body in re.findall(r"probability \( (.*?) \) \{(.*?)\n\}", text, re.S):
        name, _, parents = head.partition(" | ")
        rows = []
        for given, numbers in re.findall(r"(?:table|\((.*?)\)) (.*?);", body):
            rows.append((given.split(", ") if given else [], [float(x) for x in numbers.split(", ")]))
        tables[name] = (parents.split(", ") if parents else [], rows)
    return variables, seen, tables


def posteriors(path):
    with open(path, encoding="ascii") as file:
        variables, seen, tables = parse(file.read())
    net = pyagrum.loadBN(path)
    assert set(net.names()) == set(variables), "the library reads other variables"
    for name, (parents, rows) in tables.items():
        table = net.cpt(name)
        assert {net.variable(p).name() for p in net.parents(name)} == set(parents)
        for given, numbers in rows:
            table[dict(zip(parents, given))] = numbers
    start = time.perf_counter()
    engine = pyagrum.LazyPropagation(net)
    engine.setEvidence(seen)
    engine.makeInference()
    values = {}
    for name, labels in variables.items():
        found = engine.posterior(name)
        values[name] = [found[{name: label}] for label in labels]
    return values, time.perf_counter() - start


def main():
    resource.setrlimit(resource.RLIMIT_AS, (LIMIT, LIMIT))
    for path in sys.argv[1:]:
        values, seconds = posteriors(path)
        print(json.dumps({"file": path, "seconds": seconds, "values": values}), flush=True)


if __name__ == "__main__":
    main()
