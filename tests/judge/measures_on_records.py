#!/usr/bin/env python3
"""Every measure on a real record, against the same thing computed here, from the record's numbers alone.

  measures_on_records.py PROGRAM

Shipped benches run shipped scenarios with limits that always hold in the place of their own; the
values of result.json are held against NumPy's. Fails, too, when `list measures` names a measure that
has no row here, or none among the tests on synthetic signals. Tolerance of a row: the measure's own
uncertainty, plus the share that the row grants because it computes in another, coarser way.
"""
import json
import pathlib
import re
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
SYNTHETIC = ROOT / "tests/emulator/judge/measures"
try:
    import h5py
    import numpy as np
    import yaml
except ImportError as missing:
    print(f"skipped: {missing} (Debian: python3-h5py, python3-yaml)")
    sys.exit(77)

GATES = [f"gates.{leg}{side}" for leg in "UVW" for side in "HL"]
PREFIXED = ("ohm", "J", "V", "A", "N", "W", "Hz", "m")
UNIT = {"1": "%", "K": "degC", "rad/s": "rpm"}  # how a limit of that unit is written
RUNS = {  # name: bench, scenario, and perhaps until when
    "climb": ("orchard-cart-hub-stand-in", "hall-wire-breaks"),
    "lines": ("orchard-cart-mid-supply-lines", "key-off-while-driving"),
    "brake": ("orchard-cart-mid-supply-lines", "mid-brake-into-pack"),
    "warm": ("orchard-cart-mid-full", "mid-torque-by-throttle"),
    "plain": ("orchard-cart-mid", "mid-torque-by-throttle"),
    "held": ("dynamometer-mid", "held-speed"),
    "igbt": ("orchard-cart-mid-igbt", "mid-torque-by-throttle"),
    "iron": ("orchard-cart-hub-measured", "hall-wire-breaks", 2),
    "pump": ("orchard-pump", "well-pump-run", 4.9),
    "lamp": ("orchard-cart-hub", "lamp-tells-the-fault", 4.6),
}


class Record:
    """A record's numbers, cut to a window."""

    def __init__(self, file, window, event_s):
        self.file, (self.a, self.b), self.event = file, window, event_s
        self.rate = float(file.attrs["rate_Hz"])
        self.pole_pairs = int(file.attrs["pole_pairs"])
        self.n = len(file["signals/speed"])
        self.first = int(np.ceil(self.a * self.rate - 1e-6))  # bins wholly inside
        self.end = min(self.n, int(np.floor(self.b * self.rate + 1e-6)))

    def __call__(self, name, group="signals"):
        return self.file[f"{group}/{name}"][self.first:self.end].astype(float)

    def before(self, name, seconds):
        end = int(np.floor(self.event * self.rate + 1e-6))
        return self.file[f"signals/{name}"][max(0, end - int(seconds * self.rate)):end].astype(float)

    def after(self, name):
        """Time since the event and value, of the points behind it."""
        first = int(np.floor(self.event * self.rate + 1e-6))
        value = self.file[f"signals/{name}"][first:self.end].astype(float)
        return (np.arange(first, first + len(value)) + 1) / self.rate - self.event, value

    def low(self, name):
        return self(name, "signals_least")

    def high(self, name):
        return self(name, "signals_greatest")

    def size(self, name):
        return max(abs(self.low(name).min()), abs(self.high(name).max()))

    def edges(self, line):
        """Seconds and levels, all of the run."""
        found = self.file[f"edges/{line}"]
        return found["t_ps"] * 1e-12, found["level"].astype(bool), bool(found.attrs["initially_high"])

    def inside(self, times):
        return times[(times >= self.a) & (times <= self.b)]

    def whole_turns(self):
        """First and last bin of whole electrical turns in the window, and how many turns."""
        angle = np.unwrap(self("angle_e"))
        turns = int(abs(angle[-1] - angle[0]) / (2 * np.pi))
        reached = np.abs(angle - angle[0]) >= turns * 2 * np.pi
        return angle, int(np.argmax(reached)), turns

    def harmonic(self, name, order):
        angle, end, turns = self.whole_turns()
        phase, value = np.abs(angle[:end + 1] - angle[0]), self(name)[:end + 1]
        steps = np.diff(phase)
        wave = value * np.exp(-1j * order * phase)
        return abs(np.sum(0.5 * (wave[1:] + wave[:-1]) * steps)) * 2 / (2 * np.pi * turns)

    def pwm_period(self):
        rises = {gate: self.inside(at[level]) for gate in GATES for at, level, _ in [self.edges(gate)]}
        return float(np.median(np.diff(max(rises.values(), key=len))))

    def smooth(self, value):
        """Over one PWM period, the nearest odd number of points from above."""
        half = int(np.ceil(0.5 * max(0.0, self.rate * self.pwm_period() - 1)))
        return np.array([value[max(0, k - half):k + half + 1].mean() for k in range(len(value))])

    def legs(self):
        """Of each leg the intervals on, high and low switch."""
        for leg in "UVW":
            yield [self.pulses(f"gates.{leg}{side}") for side in "HL"]

    def pulses(self, line):
        at, level, high = self.edges(line)
        on = list(at[level]) if not high else [-1e9, *at[level]]
        off = list(at[~level]) + [1e9] * (len(on) - int(np.sum(~level)))
        return np.array(list(zip(on, off))).reshape(-1, 2)

    def dead_times(self):
        out = []
        for high, low in self.legs():
            changes = sorted([(t, side, True) for side, p in enumerate((high, low)) for t in p[:, 0]] +
                             [(t, side, False) for side, p in enumerate((high, low)) for t in p[:, 1]])
            for before, now in zip(changes, changes[1:]):
                if not before[2] and now[2] and before[1] != now[1] and before[0] >= self.a and now[0] <= self.b:
                    out.append(now[0] - before[0])
        return np.array(out)

    def machine(self, name):
        return float(self.file.attrs[name])

    def bench(self, *path):
        """A number of the run's resolved bench, in its unit without a prefix."""
        if not hasattr(self, "resolved"):
            text = (pathlib.Path(self.file.filename).parent / "bench.yaml").read_text(encoding="utf-8")
            self.resolved = yaml.safe_load(text)
        value = self.resolved
        for key in path:
            value = value[key]
        number, unit, *_ = str(value).split() + ["1"]
        scale = {"m": 1e-3, "u": 1e-6, "k": 1e3}.get(unit[0], 1.0) if unit[1:] in PREFIXED else 1.0
        return float(number) * scale

    def middle(self, name):
        """Means over the bins of a signal that is kept at their ends."""
        ends = self.file[f"signals/{name}"][max(0, self.first - 1):self.end].astype(float)
        return 0.5 * (ends[1:] + ends[:-1])

    def balance(self):
        """What of the bridge's power neither leaves by the shaft nor stays in the machine's field, in watts."""
        field = self.file["signals/machine_energy"]
        seconds = (self.end - self.first) / self.rate
        return (self("bridge_power").mean() - np.mean(self("torque_mean") * self.middle("speed"))
                - (float(field[self.end - 1]) - float(field[self.first - 1])) / seconds)

    def rms(self, phase):
        low, high = self.low(f"phase_current.{phase}"), self.high(f"phase_current.{phase}")
        # Points alone: their squares by the trapezoid rule; the ripple between them by its own square.
        value = self(f"phase_current.{phase}")
        return np.sqrt(np.mean(value ** 2)), np.sqrt(np.mean(np.maximum(low ** 2, high ** 2)))

    def last_fifth(self, name, value):
        return value[int(0.8 * len(value)):].mean()


def best_torque(r):
    """Torque given away at the mean current, against the best angle found by looking at all of them."""
    d, q = r("current_d").mean(), r("current_q").mean()
    difference = r.machine("inductance_d_H") - r.machine("inductance_q_H")
    torque = lambda d, q: q * (r.machine("flux_linkage_Wb") + difference * d)
    angle = np.linspace(0, 2 * np.pi, 200001)
    best = torque(np.hypot(d, q) * np.cos(angle), np.hypot(d, q) * np.sin(angle)).max()
    return 1 - abs(torque(d, q)) / best


def copper(r):
    kelvin, a = r("temperature.winding"), r.machine("winding_temperature_coefficient_per_K")
    resistance = r.machine("winding_resistance_ohm") * (1 + a * (kelvin - 293.15)) / (
        1 + a * (r.machine("reference_temperature_K") - 293.15))
    return np.mean(resistance * sum(r(f"phase_current.{p}") ** 2 for p in "UVW"))


def jitter(r):
    """Of the kind of instants that scatter least: rises, falls, middles of pulses."""
    gate = max(GATES, key=lambda g: len(r.inside(r.pulses(g)[:, 0])))
    pulses = r.pulses(gate)
    pulses = pulses[(pulses[:, 0] >= r.a) & (pulses[:, 1] <= r.b)]
    spreads = []
    for instants in (pulses[:, 0], pulses[:, 1], pulses.mean(axis=1)):
        low, high = np.percentile(np.diff(instants), [25, 75])
        spreads.append((high - low) / 1.349)  # of a normal distribution
    return min(spreads)


def overlaps(r):
    """Levels of both switches between any two edges of their leg."""
    count, total = 0, 0.0
    for high, low in r.legs():
        t = np.unique(np.clip(np.concatenate([high.ravel(), low.ravel(), [r.a, r.b]]), r.a, r.b))
        middle = 0.5 * (t[1:] + t[:-1])
        on = lambda p: np.searchsorted(p[:, 0], middle, "right") > np.searchsorted(p[:, 1], middle, "right")
        both = on(high) & on(low)
        count += int(np.sum(both[1:] & ~both[:-1]) + both[0])
        total += float(np.sum((t[1:] - t[:-1])[both]))
    return count, total


def modulation(r):
    """Commanded voltages at 50 instants a PWM period, each leg half the bus up, down or none."""
    step = r.pwm_period() / 50
    t = np.arange(r.a + 1 / r.rate, r.b, step)
    angle = np.interp(t, (np.arange(r.first, r.end) + 1) / r.rate, np.unwrap(r("angle_e")))
    turns = int(abs(angle[-1] - angle[0]) / (2 * np.pi))
    keep = np.abs(angle - angle[0]) < turns * 2 * np.pi
    total = 0
    for leg, (high, low) in enumerate(r.legs()):
        on = lambda p: np.searchsorted(p[:, 0], t, "right") > np.searchsorted(p[:, 1], t, "right")
        total = total + (on(high).astype(float) - on(low)) * np.exp(2j * np.pi / 3 * leg)
    return abs(np.mean((2 / 3 * total * np.exp(-1j * angle))[keep]))


def commutation(r):
    """From each leg's rests of 30 to 120 electrical degrees: their ends against 30 + 120 n degrees."""
    t = (np.arange(r.n) + 1) / r.rate
    angle = np.unwrap(r.file["signals/angle_e"][:].astype(float))
    late = []
    for leg, pulses in enumerate(r.legs()):
        on = sorted([tuple(p) for side in pulses for p in side])
        for before, after in zip(on, on[1:]):
            since, until = before[1], after[0]
            if since < r.a + 1 / r.rate or until > r.b:
                continue
            from_rad, to_rad = np.interp([since, until], t, angle)
            if np.pi / 6 <= abs(to_rad - from_rad) <= 2 * np.pi / 3:
                # The middle of the rest lies on the EMF's zero, its ends 30 degrees from it.
                for theta, ideal in ((from_rad, -np.pi / 6), (to_rad, np.pi / 6)):
                    off = theta - 2 * np.pi / 3 * leg - ideal
                    late.append(off - np.pi * np.round(off / np.pi))
    return np.array(late)


def smooth_speed(r):
    """Whole mechanical turns one after the other; the slowest from which on all change by 20 % at most."""
    angle = np.unwrap(r("angle_e")) / r.pole_pairs
    speed, turns = r("speed"), int((angle[-1] - angle[0]) / (2 * np.pi))
    borders = np.searchsorted(angle, angle[0] + 2 * np.pi * np.arange(turns + 1))
    found = sorted((speed[a:b].mean(), (speed[a:b].max() - speed[a:b].min()) / speed[a:b].mean())
                   for a, b in zip(borders, borders[1:]))
    slowest = None
    for mean, change in reversed(found):
        if change > 0.2:
            break
        slowest = mean
    return slowest


def start_up(r):
    speed = r("speed")
    return (np.argmax(speed >= 0.95 * r.last_fifth("speed", speed)) + 1) / r.rate


def overshoot_of_limit(r):
    top = np.maximum.reduce([np.maximum(-r.low(f"phase_current.{p}"), r.high(f"phase_current.{p}")) for p in "UVW"])
    return top.max() / top[int(0.8 * len(top)):].max() - 1


def swing(r):
    """Slices of 1 ms, the last 2^n of them, without mean and trend; largest line from the third on."""
    width = int(r.rate * 1e-3)
    value = 0.5 * (r.low("bus_current") + r.high("bus_current"))
    n = 1 << (len(value) // width).bit_length() - 1
    slices = value[len(value) - n * width:].reshape(n, width).mean(axis=1)
    slices -= np.polyval(np.polyfit(np.arange(n), slices, 1), np.arange(n))
    lines = np.abs(np.fft.rfft(slices * np.hanning(n + 1)[:n])) * 4 / n
    step = r.rate / width / n
    lines[:3] = 0
    lines[int(200 / step) + 1:] = 0
    k = int(np.argmax(lines))
    return lines[k], k * step


def gates_off(r):
    last = max(off if off < r.b else r.b for leg in r.legs() for p in leg for off in p[p[:, 0] < r.b, 1])
    return max(0, last - r.event)


def zero_torque(r):
    t, torque = r.after("torque_mean")
    acting = np.abs(torque) > 0.05 * abs(r.before("torque_mean", 0.02).mean())
    return t[np.nonzero(acting)[0][-1]] - 0.5 / r.rate


def restarts(r):
    on = sorted(tuple(p) for leg in r.legs() for side in leg for p in side if p[0] <= r.b)
    count, off = 0, on[0][1]
    for begin, end in on:
        count += begin > r.event and begin - max(off, r.event) >= 5e-3
        off = max(off, end)
    return count


def stays(r, line, level):
    at, levels, _ = r.edges(line)
    inside = at <= r.b
    assert levels[inside][-1] == level
    return at[inside][-1] - r.event


def step(r, name):
    t, value = r.after(name)
    value = r.smooth(value)
    start, end = r.before(name, 0.01).mean(), r.last_fifth(name, value)
    share = (value - start) / (end - start)
    reaches = lambda wanted: t[np.argmax(share >= wanted)]
    outside = np.nonzero(np.abs(share - 1) > 0.05)[0]
    return {"rise": reaches(0.9) - reaches(0.1), "overshoot": max(0, share.max() - 1), "settling": t[outside[-1]]}


def deviation(r):
    t, speed = r.after("speed")
    most = np.abs(speed - r.before("speed", 0.01).mean()).max()
    outside = np.nonzero(np.abs(speed - r.last_fifth("speed", speed)) > 0.1 * most)[0]
    return most, t[outside[-1]]


def conduction(r):
    """MOSFETs by the rms current, but in dead times, two a period, when a diode conducts."""
    on, slope = r.bench("bridge", "switch_on_resistance"), r.bench("bridge", "diode_resistance")
    share = 2 * np.median(r.dead_times()) / r.pwm_period()
    return sum((1 - share) * on * r(f"phase_current_square.{p}").mean()
               + share * (slope * r(f"phase_current_square.{p}").mean()
                          + r.bench("bridge", "diode_voltage") * abs(r(f"phase_current.{p}")).mean()) for p in "UVW")


def switching(r):
    """One hard on, one hard off and one recovery a period and leg, in proportion to voltage and current."""
    switching = lambda name: r.bench("bridge", "switching", name)
    energy = sum(switching(f"{name}_energy") for name in ("on", "off", "recovery"))
    scale = energy / (switching("at_voltage") * switching("at_current"))
    return sum(scale * (r("bus_voltage") * abs(r(f"phase_current.{p}"))).mean() for p in "UVW") / r.pwm_period()


def iron(r):
    """Hysteresis and eddy currents by the flux linkage in d and q."""
    psi = np.hypot(r.machine("flux_linkage_Wb") + r.machine("inductance_d_H") * r("current_d"),
                   r.machine("inductance_q_H") * r("current_q")) / r.machine("flux_linkage_Wb")
    of = lambda name: r.bench("machine", "iron_loss", name)
    f = r.pole_pairs * r("speed") / (2 * np.pi) / of("frequency")
    share = of("hysteresis_share") / 100
    return np.mean(of("power") * psi ** 2 * (share * f + (1 - share) * f ** 2))


def slip(r):
    """Air-gap torque times the speed by which the rotor falls behind the currents."""
    i = sum(r(f"phase_current.{p}") * np.exp(2j * np.pi / 3 * k) for k, p in enumerate("UVW"))
    angle = np.unwrap(np.angle(i))
    field = (angle[-1] - angle[0]) / (len(angle) - 1) * r.rate / r.pole_pairs
    return r("torque_mean").mean() * (field - r("speed").mean())


def friction(r):
    speed, load = r.middle("speed"), lambda name: r.bench("load", name)
    rolling = load("rolling_resistance") / 100 * load("cart_mass") * 9.80665 * load("wheel_radius") / load("gear_ratio")
    return np.mean(load("viscous_friction") * speed ** 2 + (load("coulomb_friction") + rolling) * abs(speed))


def blinks(r):
    on, off = (t[(t >= r.a) & (t <= r.b)] for t in r.pulses("lamp").T)
    pauses = [r.a, *off, r.b]
    begins = [max(r.a, *off[off < t]) if np.any(off < t) else r.a for t in on]
    new = np.array([t - begin >= 1 for t, begin in zip(on, begins)])
    group = np.cumsum(new)
    whole = group < group[-1] if pauses[-1] - off[-1] < 1 else group <= group[-1]
    counts = {int(np.sum(group[whole] == k)) for k in set(group[whole]) if k > 0}
    assert len(counts) == 1, counts
    return counts.pop()


BALANCED = {"plain": (2.1, 2.4), "igbt": (2.1, 2.4), "iron": (1.2, 1.9), "warm": (2.1, 2.4), "pump": (4.0, 4.9)}


def unbalanced(name, record):
    """The parts of the loss against what is missing: nothing, or a complaint. By hand: some 1e-3 of what flows (the
    straight lines in a plant step), of the torque's trapezoids, and a field that is read at its instants."""
    missing = record.balance()
    parts = sum(record(f"loss.{part}").mean() for part in ("winding", "rotor", "iron", "conduction", "switching"))
    through = abs(record("bridge_power")).mean()
    print(f"losses on {name}: {parts:.5g} W of {through:.5g} W; missing {missing:.5g} W")
    return abs(parts - missing) > 1e-3 * through or parts < 0.01 * through


def rows():
    """measure: run, window, after, extra keys, computed, extra share granted, why."""
    table = {}

    def row(name, run, window, compute, share=1e-6, after=None, **extra):
        table[name] = (run, window, after, extra, compute, share)

    steady = (2.1, 2.4)
    row("phase_current_peak", "plain", steady, lambda r: r.size("phase_current.V"), phase="V")
    row("phase_current_rms", "plain", steady, lambda r: r.rms("V")[0], 0.01, phase="V")
    row("phase_current_unbalance", "plain", steady,
        lambda r: (lambda i: max(abs(i - i.mean())) / i.mean())(np.array([r.rms(p)[0] for p in "UVW"])))
    row("phase_current_harmonic", "plain", steady, lambda r: r.harmonic("phase_current.U", 1), 2e-3,
        phase="U", harmonic=1)
    row("phase_current_distortion", "climb", (1.0, 1.5), lambda r: np.sqrt(
        sum(r.harmonic("phase_current.U", k) ** 2 for k in range(2, 41))) / r.harmonic("phase_current.U", 1),
        0.02, phase="U")
    row("bus_voltage_min", "plain", steady, lambda r: r.low("bus_voltage").min())
    row("bus_voltage_max", "plain", steady, lambda r: r.high("bus_voltage").max())
    row("bus_current_mean", "plain", steady, lambda r: r("bridge_current").mean(), 0.02)
    row("bus_current_peak", "plain", steady, lambda r: r.size("bus_current"))
    row("torque_mean", "plain", steady, lambda r: r("torque_mean").mean())
    row("torque_ripple", "plain", steady, lambda r: (lambda t: (t.max() - t.min()) / t.mean())(
        0.5 * (r("torque_mean")[1:] + r("torque_mean")[:-1])), 0.02)  # two bins a period of 8 kHz
    row("torque_ripple_with_switching", "plain", steady,
        lambda r: (r.high("torque").max() - r.low("torque").min()) / r("torque_mean").mean(), 0.01)
    row("torque_harmonic", "climb", (1.0, 1.5), lambda r: r.harmonic("torque_mean", 6), 0.02, harmonic=6)
    for what, of in (("mean", np.mean), ("min", np.min), ("max", np.max)):
        row(f"speed_{what}", "plain", steady, lambda r, of=of: of(r("speed")))
        if what == "mean":
            for axis in "dq":
                row(f"current_{axis}_mean", "plain", steady, lambda r, axis=axis: r.smooth(r(f"current_{axis}")).mean(),
                    1e-3)
    row("torque_per_ampere", "plain", steady, lambda r: abs(r("torque_mean").mean()) / np.hypot(
        r("current_d").mean(), r("current_q").mean()), 2e-3)
    row("distance_from_best_torque", "plain", steady, best_torque, 2e-2)
    row("input_energy", "plain", steady, lambda r: np.sum(r("bridge_current") * r("bus_voltage")) / r.rate,
        5e-3)  # the points always meet the voltage's ripple at the same place
    row("shaft_energy", "plain", steady, lambda r: np.sum(r("torque_mean") * r("speed")) / r.rate, 1e-4)
    row("returned_energy", "brake", None, lambda r: -np.sum(np.minimum(
        0, 0.5 * (r.low("bus_current") + r.high("bus_current"))) * r("bus_voltage")) / r.rate, 1e-3)
    row("efficiency", "plain", steady, lambda r: np.sum(r("torque_mean") * r("speed")) / np.sum(
        r("bridge_current") * r("bus_voltage")), 5e-3)
    row("copper_loss", "plain", steady, copper, 0.02)
    row("conduction_loss", "plain", steady, conduction, 0.02)
    row("switching_loss", "igbt", steady, switching, 0.02)
    row("iron_loss", "iron", (1.2, 1.9), iron, 5e-3)
    row("rotor_loss", "pump", (4.0, 4.9), slip, 0.02)
    row("friction_loss", "plain", steady, friction, 2e-3)
    row("blink_code", "lamp", (0.0, 4.5), blinks)
    row("lamp_lit_time", "lamp", None, lambda r: sum(
        max(0, min(off, r.b) - max(on, r.a)) for on, off in r.pulses("lamp")))
    row("remaining_loss", "plain", steady, lambda r: np.mean(
        r("bridge_current") * r("bus_voltage") - r("torque_mean") * r("speed")) - copper(r), 0.1)
    row("pwm_frequency", "plain", steady, lambda r: 1 / r.pwm_period())
    row("pwm_jitter", "warm", steady, jitter, 0.02)
    row("smallest_dead_time", "plain", steady, lambda r: r.dead_times().min())
    row("dead_time_p1", "plain", steady, lambda r: np.percentile(r.dead_times(), 1))
    row("dead_time_median", "plain", steady, lambda r: np.median(r.dead_times()))
    row("shortest_pulse", "plain", steady, lambda r: min(
        (p[(p[:, 0] >= r.a) & (p[:, 1] <= r.b)] @ [-1, 1]).min() for leg in r.legs() for p in leg))
    row("shoot_through_count", "plain", steady, lambda r: overlaps(r)[0])
    row("shoot_through_time", "plain", steady, lambda r: overlaps(r)[1])
    row("modulation_index", "plain", steady, modulation, 5e-3)
    row("commutation_error_mean", "climb", (1.2, 1.9), lambda r: commutation(r).mean(), 0.02)
    row("commutation_error_spread", "climb", (1.2, 1.9), lambda r: commutation(r).std(), 0.05)
    row("lowest_smooth_speed", "plain", (0.0, 3.4), smooth_speed, 0.02)
    row("start_up_time", "held", (0.1, 0.65), start_up, 1e-3)
    row("current_limit_overshoot", "warm", None, overshoot_of_limit)
    row("chopper_on_time", "brake", None, lambda r: sum(
        max(0, min(off, r.b) - max(on, r.a)) for on, off in r.pulses("brake_chopper")))
    row("text_matches", "lines", None, lambda r: sum(
        bool(re.search("throttle open", m["detail"].decode())) for m in r.file["marks"]), pattern="throttle open")
    number = r"throttle open at key-on \(([0-9.]+) V\)"
    row("text_number", "lines", None, lambda r: [float(found.group(1)) for m in r.file["marks"] for found in [
        re.search(number, m["detail"].decode())] if found][-1], pattern=number, unit="V")
    for body in ("winding", "magnet", "heatsink", "junction"):
        row(f"temperature_{body}_max", "warm", None, lambda r, body=body: r(f"temperature.{body}").max())
    row("supply_swing", "lines", (1.0, 3.0), lambda r: swing(r)[0], 0.1)
    row("supply_swing_frequency", "lines", (1.0, 3.0), lambda r: swing(r)[1], 0.0)
    # Counted from an event.
    row("time_to_gates_off", "climb", (0, 1.0), gates_off, after="hall_line_open")
    row("time_to_zero_torque", "climb", (0, 1.0), zero_torque, after="hall_line_open")
    row("restarts", "lines", (0, 2.0), restarts, after="key off")
    row("bus_overvoltage", "climb", (0, 1.0), lambda r: r.high("bus_voltage").max() - r.before("bus_voltage", 0.02).mean(),
        1e-3, after="hall_line_open")
    row("time_to_contactor_closed", "lines", (0, 1.2), lambda r: stays(r, "contactor", True), after="key on")
    row("time_to_contactor_open", "lines", (0, 0.8), lambda r: stays(r, "contactor", False), after="key off")
    for signal, name, after, to in (("speed", "speed", "held_speed", 0.58), ("current", "current_q", "throttle", 0.8)):
        for what, word in (("rise_time", "rise"), ("overshoot", "overshoot"), ("settling_time", "settling")):
            row(f"{signal}_{what}", "held", (0, to), lambda r, n=name, w=word: step(r, n)[w], 0.02, after=after)
    row("speed_deviation", "held", (0, 0.8), lambda r: deviation(r)[0], 1e-6, after="throttle")
    row("speed_recovery_time", "held", (0, 0.8), lambda r: deviation(r)[1], 1e-3, after="throttle")
    return table


def known_measures(program):
    lines = subprocess.run([program, "list", "measures"], check=True, capture_output=True, text=True).stdout.splitlines()
    return {words[0]: words[1] if words[1] != "N" else " ".join(words[1:3]).split(" U ")[0]
            for words in (line.split() for line in lines[1:]) if words and re.fullmatch("[a-z0-9_]+", words[0])}


def perform(program, run, table, folder):
    """The run with the table's rows as limits: the values of result.json by measure, and the record."""
    bench, scenario, *until = RUNS[run]
    document = yaml.safe_load((ROOT / f"configs/scenarios/{scenario}.yaml").read_text(encoding="utf-8"))
    document["expect"] = []
    if until:
        document["lasts"] = f"{until[0]} s"
        document["timeline"] = [one for one in document["timeline"] if float(one["at"].split()[0]) < until[0]]
    for name, (its_run, window, after, extra, _, _) in table.items():
        if its_run != run:
            continue
        limit = {"measure": name, "max": "1000000 " + extra.get("unit", LIMIT_UNIT[name]), **extra}
        if after:
            limit["after"] = after
        if window:
            limit["from"], limit["to"] = (f"{t} s" for t in window)
        document["expect"].append(limit)
    (folder / f"{run}.yaml").write_text(yaml.safe_dump(document), encoding="utf-8")
    out = folder / run
    done = subprocess.run([program, "run", str(ROOT / f"configs/benches/{bench}.yaml"), str(folder / f"{run}.yaml"),
                           "--out", str(out)], check=False, capture_output=True, text=True)
    if not (out / "result.json").is_file():
        sys.exit(f"{run}: {done.stdout}{done.stderr}")
    return json.loads((out / "result.json").read_text(encoding="utf-8")), h5py.File(out / "record.h5")


LIMIT_UNIT = {}


def main():
    program, complaints, table = sys.argv[1], [], rows()
    known = known_measures(program)
    LIMIT_UNIT.update({name: UNIT.get(unit, unit) for name, unit in known.items()})
    sources = "".join(file.read_text(encoding="utf-8") for file in SYNTHETIC.glob("*.cpp"))
    complaints += [f"{name}: no test on a real record here" for name in known if name not in table]
    complaints += [f"{name}: there is no such measure" for name in table if name not in known]
    complaints += [f"{name}: no test on a synthetic signal in {SYNTHETIC}" for name in known if f'"{name}"' not in sources]
    table = {name: row for name, row in table.items() if name in known}
    with tempfile.TemporaryDirectory(prefix="stillrotor-measures-") as name:
        for run in RUNS:
            result, file = perform(program, run, table, pathlib.Path(name))
            with file:
                if run in BALANCED and unbalanced(run, Record(file, BALANCED[run], None)):
                    complaints.append(f"losses on {run} do not add up to what is missing")
                for found in result["measures"]:
                    if found["name"] not in table:
                        continue  # controller_alive
                    _, _, after, _, compute, share = table[found["name"]]
                    where = f"{found['name']} on {run}"
                    if found["value"] is None:
                        complaints.append(f"{where} is not defined: {found['reason']}")
                        continue
                    event = found["window_s"][0] if after else None
                    computed = float(compute(Record(file, found["window_s"], event)))
                    value, doubt = found["value"], found["uncertainty"]
                    allowed = doubt + share * max(abs(computed), abs(value)) + 1e-12
                    print(f"{where}: {value:.7g} +- {doubt:.2g} {found['unit']}, here {computed:.7g}")
                    if not abs(value - computed) <= allowed:
                        complaints.append(f"{where} is {value:.7g}, computed here {computed:.7g}, may differ by {allowed:.2g}")
    print("\n".join(complaints) or "every measure is what it says")
    return bool(complaints)


if __name__ == "__main__":
    sys.exit(main())
