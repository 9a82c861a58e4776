#!/usr/bin/env python3
"""Are two records the same, sample by sample, edge by edge, mark by mark? same_record.py A.h5 B.h5

Prints what differs; status 1 where something does, 77 where h5py is missing.
"""
import sys

try:
    import h5py
    import numpy
except ImportError as error:
    print(f"SKIPPED: {error} (apt-get install python3-h5py)")
    sys.exit(77)


def datasets(path):
    found = {}
    with h5py.File(path, "r") as file:
        file.visititems(lambda name, thing: found.__setitem__(name, thing[()]) if isinstance(thing, h5py.Dataset) else None)
    return found


first, second = map(datasets, sys.argv[1:3])
wrong = sorted(set(first) ^ set(second)) + [name for name in first if name in second and not numpy.array_equal(first[name], second[name])]
print(f"{len(first)} datasets, {len(wrong)} differ: {' '.join(wrong)}")
sys.exit(1 if wrong or not first else 0)
