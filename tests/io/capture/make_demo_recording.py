#!/usr/bin/env python3
"""Writes the demo recording: make_demo_recording.py FILE, or --compare FILE against it.

Invented: a six-step controller drives the orchard cart's hub machine at a constant 150 rpm. Halls
and gates as a logic analyser would see them: 10 ns ticks, edges some microseconds after their cause.

Halls: line k is high in the half turn from -90 deg + k * 120 deg (electrical) on. Back-EMF
e_U = -omega_e psi sin(theta_e), so torque is positive with current into U from 210 to 330 deg and
out of U from 30 to 150 deg; V and W follow by 120 and 240 deg.
"""
import pathlib
import sys

TICKS_PER_S = 100_000_000
POLE_PAIRS = 20
TURNS_PER_S = POLE_PAIRS * 150 / 60  # electrical: 50 Hz
START_DEG = 12.0
LENGTH_S = 0.250
PWM_HZ = 8000
DUTY = 0.42
LATENCY_S = 15e-6  # Hall edge to new gate pattern

# Sector n begins at 30 + 60 n deg: (leg that is switched high, leg that is held low).
SECTORS = [("v", "u"), ("w", "u"), ("w", "v"), ("u", "v"), ("u", "w"), ("v", "w")]
NAMES = [f"gate_{leg}{side}" for leg in "uvw" for side in "hl"] + [f"hall_{leg}" for leg in "uvw"]
IDS = dict(zip(NAMES, "!\"#$%&'()"))


def ticks(seconds):
    return round(seconds * TICKS_PER_S)


def hall_levels(angle_deg):
    return {f"hall_{leg}": int((angle_deg + 90 - 120 * k) % 360 < 180) for k, leg in enumerate("uvw")}


def sector_at(seconds):
    return int((START_DEG + 360 * TURNS_PER_S * seconds - 30) % 360 // 60)


def gate_levels(tick):
    """Pattern of the sector that the controller knows of, switched at the PWM's phase."""
    high, low = SECTORS[sector_at(max(0.0, tick / TICKS_PER_S - LATENCY_S))]
    period = TICKS_PER_S // PWM_HZ
    levels = dict.fromkeys(NAMES[:6], 0)
    levels[f"gate_{low}l"] = 1
    levels[f"gate_{high}h"] = int(tick % period < round(DUTY * period))
    return levels


def recording():
    end = ticks(LENGTH_S)
    period = TICKS_PER_S // PWM_HZ
    # Every instant at which anything can change; 1 tick past an angle, so that it has been passed.
    edges = [ticks((30 + 60 * n - START_DEG) / 360 / TURNS_PER_S) + 1
             for n in range(int(LENGTH_S * TURNS_PER_S * 6) + 2)]
    instants = {0} | set(edges) | {edge + ticks(LATENCY_S) + 1 for edge in edges}
    instants |= set(range(0, end, period)) | set(range(round(DUTY * period), end, period))
    lines = ["$date invented $end", "$version orchard cart, hub machine, six-step, 150 rpm $end",
             "$comment Made by tests/io/capture/make_demo_recording.py; no real vehicle. $end",
             "$timescale 10 ns $end", "$scope module cart $end"]
    lines += [f"$var wire 1 {IDS[name]} {name} $end" for name in NAMES]
    lines += ["$upscope $end", "$enddefinitions $end"]
    before = {}
    for tick in sorted(instant for instant in instants if instant < end):
        now = gate_levels(tick) | hall_levels(START_DEG + 360 * TURNS_PER_S * tick / TICKS_PER_S)
        changed = [f"{now[name]}{IDS[name]}" for name in NAMES if before.get(name) != now[name]]
        if changed:
            lines.append(f"#{tick}")
            lines += changed if before else ["$dumpvars", *changed, "$end"]
        before = now
    return "\n".join(lines + [f"#{end}"]) + "\n"


def main(arguments):
    if len(arguments) == 1:
        pathlib.Path(arguments[0]).write_text(recording(), encoding="ascii")
        return 0
    if len(arguments) == 2 and arguments[0] == "--compare":
        same = pathlib.Path(arguments[1]).read_text(encoding="ascii") == recording()
        print("same" if same else f"{arguments[1]} differs; write it again with this program")
        return 0 if same else 1
    print(__doc__, file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
