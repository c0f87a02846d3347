#!/usr/bin/python3
"""Print every number of a dose report as JSON lines, as pydicom reads it.

One line is one NUM item directly inside an accumulated dose (113702) or irradiation event (113706) container:
{"container": "113706", "index": 0, "concept": "113738", "value": 0.0123, "unit": "Gy"}. An item without a measured
value has the value null. The index counts containers of one kind in the order of the file.
"""

import json
import sys

import pydicom

CONTAINERS = ("113702", "113706")


def code(item, keyword):
    sequence = getattr(item, keyword, None)
    return sequence[0].CodeValue if sequence else None


def numbers(container):
    for item in getattr(container, "ContentSequence", []):
        if item.ValueType != "NUM":
            continue
        measured = getattr(item, "MeasuredValueSequence", None)
        value, unit = None, None
        if measured:
            value = float(measured[0].NumericValue)
            if "FloatingPointValue" in measured[0]:
                value = float(measured[0].FloatingPointValue)
            unit = code(measured[0], "MeasurementUnitsCodeSequence")
        yield code(item, "ConceptNameCodeSequence"), value, unit


def main(path):
    report = pydicom.dcmread(path, force=True)
    seen = dict.fromkeys(CONTAINERS, 0)
    for container in report.ContentSequence:
        kind = code(container, "ConceptNameCodeSequence")
        if container.ValueType != "CONTAINER" or kind not in CONTAINERS:
            continue
        for concept, value, unit in numbers(container):
            line = {"container": kind, "index": seen[kind], "concept": concept, "value": value, "unit": unit}
            print(json.dumps(line))
        seen[kind] += 1


if __name__ == "__main__":
    main(sys.argv[1])
