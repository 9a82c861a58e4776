#!/usr/bin/env python3
"""Reads a run's record: read_record.py RUN/record.h5. Needs h5py and numpy (Debian: python3-h5py).

Prints the torque's mean over the last tenth of the run, the greatest phase current, the first edges
of a gate and all marks. Change it to what you want to know.
"""
import sys

import h5py
import numpy as np

with h5py.File(sys.argv[1], "r") as record:
    signals = record["signals"]
    rate_hz = float(signals["torque"].attrs["rate_Hz"])

    # A signal is one number a grid point; point k stands for k / rate seconds since the start.
    torque_nm = signals["torque"][:]
    time_s = np.arange(torque_nm.size) / rate_hz
    late = time_s >= 0.9 * time_s[-1]
    print(f"{torque_nm.size} points at {rate_hz:g} Hz, {time_s[-1]:.3f} s")
    print(f"torque over the last tenth: {torque_nm[late].mean():.3f} {signals['torque'].attrs['unit'].decode()}")

    # Currents, bus and torque have the least and the greatest value between two points beside them.
    least = record["signals_least/phase_current.U"][:]
    most = record["signals_greatest/phase_current.U"][:]
    print(f"greatest current of phase U: {max(abs(least.min()), abs(most.max())):.3f} A")

    # What the whole run looks like from afar: least and greatest of 64 points each, of every signal.
    names = [name.decode() for name in record["overview"].attrs["signals"]]
    speed_rad_s = record["overview/64"][:, names.index("speed"), :]
    print(f"speed: {np.nanmin(speed_rad_s):.2f} to {np.nanmax(speed_rad_s):.2f} rad/s")

    # Edges are pairs of picoseconds and level; before the first one `initially_high` holds.
    edges = record["edges/gates.UH"]
    print(f"gates.UH: {edges.shape[0]} edges, at the start {'on' if edges.attrs['initially_high'] else 'off'}")
    for edge in edges[:3]:
        print(f"  {edge['t_ps'] * 1e-12:.9f} s {'on' if edge['level'] else 'off'}")

    for mark in record["marks"]:
        print(f"{mark['t_ps'] * 1e-12:.6f} s {mark['name'].decode()} {mark['detail'].decode()}".rstrip())
