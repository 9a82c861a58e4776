// The page's pure modules, by node --test. Expected numbers by hand, or by the closed form beside them.
import assert from "node:assert/strict";
import fs from "node:fs";
import test from "node:test";

const page = new URL("../../emulator/panel/page/", import.meta.url);
const use = (name) => import(new URL(name, page));
const {backOff_ms} = await use("connection.js");
const {between, broughtIn, readings} = await use("cursors.js");
const {longestVoltage, phaseRms, sectorOf, voltageLimit, voltageOf} = await use("dq.js");
const {clearing} = await use("faults.js");
const {amplitudeSpectrum, fft, greatestLines} = await use("fft.js");
const {decodeFrame, extremes, levelAt, pointTimes, pointValues, valueAt} = await use("frames.js");
const {grouped, looks, stripTitle} = await use("grouping.js");
const {markWords} = await use("marks.js");
const {Outbox} = await use("outbox.js");
const {firstChoice, readyMade} = await use("picker.js");
const {Conditioner} = await use("sound.js");
const {shareOf, travel, voltsAt} = await use("throttle.js");
const {decimalsFor, divisions, endAfterZoom, nextSpan, spanFor, SPANS_s, steadyRange, ticks, tickStep} = await use("timebase.js");
const {triggerMessage} = await use("trigger.js");
const {digits, leadingNumber, modelTime, shownAs, trailingUnit, typedAs, withPrefix} = await use("units.js");

const near = (actual, expected, tolerance) => assert.ok(Math.abs(actual - expected) <= tolerance, `${actual} is not ${expected} within ${tolerance}`);

/// A frame byte by byte as docs/panel-messages.md has it.
function encoded({kind = 1, flags = 0, view = 0, from_s = 1, step_s = 0.1, columns = 2, signals = [], lines = [], trigger_s = NaN, lineColumns = 0}) {
  const floats = signals.flat(), bytes = lines.flat();
  const buffer = new ArrayBuffer(64 + 4 * floats.length + bytes.length), head = new DataView(buffer);
  head.setUint8(0, 1); head.setUint8(1, kind); head.setUint8(2, view); head.setUint8(3, flags);
  head.setUint32(4, 7, true);
  head.setFloat64(8, from_s, true); head.setFloat64(16, step_s, true); head.setUint32(24, columns, true);
  head.setUint16(28, signals.length, true); head.setUint16(30, lines.length, true);
  head.setFloat64(32, trigger_s, true);
  head.setFloat64(40, from_s, true); head.setFloat64(48, step_s, true); head.setUint32(56, lineColumns, true);
  floats.forEach((x, k) => head.setFloat32(64 + 4 * k, x, true));
  new Uint8Array(buffer, 64 + 4 * floats.length).set(bytes);
  return buffer;
}

test("a frame of columns gives back what was put in", () => {
  const frame = decodeFrame(encoded({flags: 3, view: 5, trigger_s: 1.05, lineColumns: 2,
    signals: [[1, 2, 0, 1, 3, 4, 2, 3]], lines: [[0b110, 0b001]]}));
  assert.deepEqual({...frame, signals: null, lines: null}, {kind: "scope", view: 5, follows: true, caught: true, raw: false, sequence: 7,
    from_s: 1, step_s: 0.1, columns: 2, trigger_s: 1.05, linesFrom_s: 1, linesStep_s: 0.1, lineColumns: 2, signals: null, lines: null});
  assert.deepEqual(pointValues(frame, 0), [1, 0, 3, 2, 2, 1, 4, 3]);
  assert.equal(pointTimes(frame).length, 8);
  near(pointTimes(frame)[5], 1.125, 1e-12);
  assert.deepEqual(extremes(frame, 0), {least: 0, greatest: 4, newest: 3});
  assert.equal(valueAt(frame, 0, 1.05), 2);
  assert.ok(Number.isNaN(valueAt(frame, 0, 0.9)));
  assert.deepEqual([levelAt(frame, 0, 1.01), levelAt(frame, 0, 1.11), levelAt(frame, 0, 2)], [1, 0, null]);
});

test("raw samples are one value each, and nothing there is null", () => {
  const frame = decodeFrame(encoded({kind: 2, columns: 3, signals: [[1, NaN, 3]]}));
  assert.ok(frame.raw);
  assert.deepEqual(pointValues(frame, 0, (x) => 2 * x), [2, null, 6]);
  assert.equal(valueAt(frame, 0, 1.16), 3); // the nearest sample
  assert.deepEqual(extremes(frame, 0), {least: 1, greatest: 3, newest: 3});
});

test("what is no frame is refused", () => {
  const broken = [new ArrayBuffer(10), encoded({kind: 9}), encoded({signals: [[1]], columns: 2}), encoded({lineColumns: 3, lines: [[1]]})];
  const version = encoded({});
  new DataView(version).setUint8(0, 2);
  for (const buffer of [...broken, version]) assert.throws(() => decodeFrame(buffer), RangeError);
});

test("the time base steps by 1-2-5 and stops at its ends", () => {
  assert.equal(nextSpan(0.1, 1), 0.2);
  assert.equal(nextSpan(0.1, -1), 0.05);
  assert.equal(nextSpan(0.13, -1), 0.1);
  assert.equal(nextSpan(SPANS_s[0], -1), SPANS_s[0]);
  assert.equal(nextSpan(SPANS_s.at(-1), 1), SPANS_s.at(-1));
  assert.equal(spanFor(20), 20);
  assert.equal(spanFor(20.1), 50);
});

test("what stands under the pointer stays there while zooming", () => {
  const end = endAfterZoom({from_s: 2, span_s: 1}, 2.25, 0.5); // a quarter of the way in, before and after
  near(2.25 - (end - 0.5), 0.125, 1e-12);
});

test("ticks are round, inside, and enough decimals tell them apart", () => {
  assert.equal(tickStep(1, 5), 0.2);
  assert.equal(tickStep(87, 8), 20);
  assert.deepEqual(ticks(-0.3, 0.3, 4), [-0.2, 0, 0.2]);
  assert.deepEqual(ticks(0, 100, 5), [0, 20, 40, 60, 80, 100]);
  assert.equal(decimalsFor(0.05), 2);
  // 50 ms with the trigger a quarter in: 5 ms a division, counted from the trigger.
  assert.deepEqual(divisions({from: -12.5, to: 37.5, zero: 0}), [-10, -5, 0, 5, 10, 15, 20, 25, 30, 35]);
  assert.equal(divisions({from: 2, to: 3, zero: 3}).length, 11);
  assert.equal(decimalsFor(20), 0);
});

test("a strip's range holds its curve, and does not jump with it", () => {
  const range = steadyRange(null, -14, 15);
  assert.ok(range[0] <= -14 && range[1] >= 15);
  assert.equal(steadyRange(range, -13.5, 14.5), range);
  assert.ok(steadyRange(range, -40, 15)[0] <= -40);
  const small = steadyRange(range, -1, 1);
  assert.ok(small[1] < 3, "a curve that has shrunk gets its room back");
  const flat = steadyRange(null, 48, 48);
  assert.ok(flat[0] < 48 && flat[1] > 48);
  assert.deepEqual(steadyRange(null, Infinity, -Infinity), [-1, 1]);
});

test("cursors read time, rate, values and levels", () => {
  const frame = decodeFrame(encoded({columns: 2, lineColumns: 2, signals: [[1, 2, 0, 1, 3, 4, 2, 3]], lines: [[0b110, 0b001]]}));
  const cursors = {A: 1.02, B: 1.12};
  near(between(cursors).dt_s, 0.1, 1e-12);
  near(between(cursors).rate_Hz, 10, 1e-9);
  assert.equal(between({A: 1, B: 1}).rate_Hz, 0);
  const {rows, levels} = readings(frame, cursors, [{name: "speed", unit: "rad/s"}], ["hall.U"], shownAs);
  near(rows[0].difference, 30 / Math.PI, 1e-5); // 1 rad/s, a float
  assert.deepEqual(levels, [{name: "hall.U", a: 1, b: 0}]);
  assert.deepEqual(broughtIn({A: 5, B: 1.5}, {from: 1, to: 2}), {A: 1 + 1 / 3, B: 1.5});
});

test("the transform of an impulse is flat, and a length of 12 is refused", () => {
  const re = new Float64Array(8), im = new Float64Array(8);
  re[0] = 1;
  fft(re, im);
  for (let k = 0; k < 8; ++k) { near(re[k], 1, 1e-12); near(im[k], 0, 1e-12); }
  assert.throws(() => fft(new Float64Array(12), new Float64Array(12)), RangeError);
});

test("a sine on a line of the spectrum shows its amplitude, and its mean is taken out", () => {
  const n = 1024, rate = 20000;
  const samples = Float32Array.from({length: n + 300}, (_, k) => 5 + 3 * Math.sin((2 * Math.PI * 50 * k) / n) + Math.cos((2 * Math.PI * 200 * k) / n));
  const spectrum = amplitudeSpectrum(samples, 1 / rate);
  near(spectrum.step_Hz, rate / n, 1e-9);
  near(spectrum.window_s, n / rate, 1e-12);
  near(spectrum.mean, 5, 1e-5); // floats
  near(spectrum.amplitude[50], 3, 1e-5);
  near(spectrum.amplitude[200], 1, 1e-5);
  near(spectrum.amplitude[51], 1.5, 1e-5); // a Hann window's neighbour: half
  const lines = greatestLines(spectrum, 2);
  assert.deepEqual(lines.map((l) => Math.round(l.frequency_Hz / spectrum.step_Hz)), [50, 200]);
  assert.equal(amplitudeSpectrum(new Float32Array(10), 1), null);
  samples[600] = NaN; // 723 whole samples behind it
  near(amplitudeSpectrum(samples, 1 / rate).window_s, 512 / rate, 1e-12);
  near(amplitudeSpectrum(samples, 1 / rate).amplitude[25], 3, 1e-5);
  samples[samples.length - 1] = NaN;
  assert.equal(amplitudeSpectrum(samples, 1), null);
});

test("the voltage limit is the current that just needs that voltage", () => {
  const machine = {winding_resistance_ohm: 0.05, inductance_d_H: 150e-6, inductance_q_H: 250e-6, flux_linkage_Wb: 0.012};
  const longest = longestVoltage(48);
  near(longest, 27.713, 1e-3);
  for (const omega_e of [0, 500, -3000]) {
    for (const [i_d, i_q] of voltageLimit(machine, omega_e, longest)) near(voltageOf(machine, omega_e, i_d, i_q), longest, 1e-9);
  }
  // Without resistance: centre at -psi / L_d, half axis along d of V / (omega L_d).
  const ideal = {...machine, winding_resistance_ohm: 0};
  const d = voltageLimit(ideal, 1000, 10).map(([i_d]) => i_d);
  near((Math.max(...d) + Math.min(...d)) / 2, -80, 0.05);
  near((Math.max(...d) - Math.min(...d)) / 2, 10 / (1000 * 150e-6), 0.05);
  assert.equal(voltageLimit(ideal, 0, 10), null, "at standstill nothing limits");
});

test("rms of the phases from dq, and sectors of 60 degrees", () => {
  near(phaseRms(Float32Array.of(0, 0), Float32Array.of(10, 10)), 10 / Math.SQRT2, 1e-6); // amplitude-invariant
  assert.ok(Number.isNaN(phaseRms(Float32Array.of(NaN), Float32Array.of(1))));
  assert.deepEqual([0, 59, 61, 359, -1].map((deg) => sectorOf((deg * Math.PI) / 180)), [1, 1, 2, 6, 6]);
});

test("the outbox sends the last value of a control, ten times a second, and never too much at once", () => {
  let now = 0;
  const sent = [], timers = [];
  const box = new Outbox((message) => sent.push([now, message]), {now: () => now, later: (f, ms) => timers.push([now + ms, f]), perSecond: 18});
  for (now = 0; now <= 1000; ++now) {
    while (timers.length && timers[0][0] <= now) timers.shift()[1]();
    box.post("throttle", now, 100);
  }
  const apart = sent.slice(1).map(([at], k) => at - sent[k][0]);
  assert.ok(Math.min(...apart) >= 100, `${Math.min(...apart)} ms apart`);
  assert.ok(sent.length >= 10 && sent.length <= 11, `${sent.length} messages in a second`);
  const held = sent.length;
  box.post("throttle", "last", 100);
  for (; now < 1300; ++now) while (timers.length && timers[0][0] <= now) timers.shift()[1]();
  assert.deepEqual(sent.slice(held).map(([, m]) => m).at(-1), "last");

  sent.length = timers.length = 0;
  now = 10000;
  const other = new Outbox((message) => sent.push([now, message]), {now: () => now, later: (f, ms) => timers.push([now + ms, f]), perSecond: 18});
  for (let k = 0; k < 50; ++k) other.post(`view ${k}`, k);
  assert.equal(sent.length, 18, "the rest waits");
  for (; now < 14000; ++now) while (timers.length && timers[0][0] <= now) timers.shift()[1]();
  assert.deepEqual(sent.map(([, m]) => m), [...Array(50).keys()], "all arrive, in order");
  other.post("a", 1);
  other.clear();
});

test("waiting before the next attempt doubles to eight seconds", () => {
  assert.deepEqual([0, 1, 4, 20].map((n) => backOff_ms(n, 0.5)), [500, 1000, 8000, 8000]);
  assert.ok(backOff_ms(0, 0) < backOff_ms(0, 1));
});

test("the throttle's travel in volts and percent", () => {
  const way = travel({idle: 0.8, full: 4.2, least: 0, most: 6});
  assert.equal(voltsAt(way, 0.5), 2.5);
  assert.equal(voltsAt(way, 7), 4.2);
  near(shareOf(way, "2.5 V"), 0.5, 1e-12);
  near(shareOf(way, "45 %"), 0.45, 1e-12);
  near(shareOf(way, "2500 mV"), 0.5, 1e-12);
  assert.ok(Number.isNaN(shareOf(way, null)));
  assert.deepEqual(travel({idle: null, full: null, least: 0, most: 6}), {idle: 0, full: 6, known: false});
});

test("a present fault is cleared by the options that know its words", () => {
  const faults = [{name: "gate_line_stuck", options: [{name: "gate", words: ["UH", "UL"]}, {name: "level", words: ["low", "high"]}]}];
  assert.deepEqual(clearing("gate_line_stuck UL high", faults), {clear: "gate_line_stuck", gate: "UL", level: "high"});
  assert.deepEqual(clearing("hall_supply_lost", faults), {clear: "hall_supply_lost"});
});

test("a trigger's message has what its kind needs, or there is none", () => {
  const form = {signal: "speed", level: 3, slope: "rising", line: "hall.U", name: "", before: 25, single: true};
  const common = {before: 0.25, single: true};
  assert.deepEqual(triggerMessage({...form, on: "off"}), {on: "off"});
  assert.deepEqual(triggerMessage({...form, on: "level"}), {on: "level", signal: "speed", level: 3, slope: "rising", ...common});
  assert.deepEqual(triggerMessage({...form, on: "edge"}), {on: "edge", line: "hall.U", slope: "rising", ...common});
  assert.deepEqual(triggerMessage({...form, on: "fault"}), {on: "fault", ...common});
  assert.deepEqual(triggerMessage({...form, on: "event", name: "all gates off", before: 400}), {on: "event", name: "all gates off", before: 1, single: true});
  assert.equal(triggerMessage({...form, on: "level", level: NaN}), null);
});

test("curves share strips as asked, and no two of a strip look alike", () => {
  const signals = [["phase_current.U", "A"], ["bus_current", "A"], ["phase_current.V", "A"], ["speed", "rad/s"]].map(([name, unit]) => ({name, unit}));
  const names = (how) => grouped(signals, how).map((group) => group.map((s) => s.name).join(" "));
  assert.deepEqual(names("unit"), ["phase_current.U bus_current phase_current.V", "speed"]);
  assert.deepEqual(names("quantity"), ["phase_current.U phase_current.V", "bus_current", "speed"]);
  assert.equal(names("each").length, 4);
  assert.equal(stripTitle(grouped(signals, "unit")[0]), "phase current, bus current");
  const seen = looks([...signals.slice(0, 3), ...Array.from({length: 13}, (_, k) => ({name: `x${k}`, unit: "A"}))]).map((look) => JSON.stringify(look));
  assert.equal(new Set(seen).size, seen.length);
});

test("a bench is first shown its currents, gates and Halls", () => {
  const welcome = {signals: [{name: "phase_current.U"}, {name: "speed"}], lines: [{name: "gates.UH", group: "gates"}, {name: "hall.U", group: "halls"}]};
  assert.deepEqual(firstChoice(welcome), {signals: ["phase_current.U"], lines: ["gates.UH", "hall.U"]});
  assert.ok(!readyMade({signals: [{name: "speed"}], lines: []}).some((choice) => choice.name === "Temperatures"));
});

test("sound has no mean, keeps a tone, and stays inside -1 to 1", () => {
  const rate = 20000, conditioner = new Conditioner(rate);
  let most = 0, sum = 0;
  for (let block = 0; block < 40; ++block) {
    const out = conditioner.block(Float32Array.from({length: 500}, (_, k) => 40 + 0.3 * Math.sin((2 * Math.PI * 400 * (block * 500 + k)) / rate)));
    if (block < 30) continue;
    for (const y of out) { most = Math.max(most, Math.abs(y)); sum += y; }
  }
  near(most, 0.7, 0.03); // seven tenths of the range, faded a little since the loudest
  near(sum / 5000, 0, 0.01);
});

test("marks in words", () => {
  const mark = {kind: "action", t_s: 1, to_s: 0, name: "throttle", detail: "throttle 2 V"};
  assert.equal(markWords(mark), "throttle 2 V");
  assert.equal(markWords({...mark, kind: "fault", name: "hall_line_open", detail: "U"}), "hall_line_open U");
  assert.equal(markWords({...mark, detail: ""}), "throttle");
  assert.equal(markWords({kind: "event", t_s: 1, to_s: 0, name: "run ended", detail: "it was asked to stop"}), "run ended: it was asked to stop");
  assert.equal(markWords({kind: "gap", t_s: 1, to_s: 2, name: "", detail: "late"}), "not trusted: late, until 2.000 s");
  assert.equal(markWords({kind: "gap", t_s: 1, to_s: 2, name: "not shown", detail: "too slow"}), "not shown: too slow, until 2.000 s");
});

test("numbers and units as the trade reads them", () => {
  assert.equal(digits(1234.56, 3), "1235");
  assert.equal(digits(-0.012345, 3), "−0.0123");
  assert.equal(digits(0, 3), "0.00");
  assert.equal(digits(-0.00000049, 3), "−4.90e−7");
  assert.equal(digits(NaN), "–");
  assert.equal(withPrefix(0.0025, "s"), "2.5 ms");
  assert.equal(withPrefix(16000, "Hz"), "16 kHz");
  assert.equal(withPrefix(5e-5, "s"), "50 µs");
  assert.equal(withPrefix(0, "s"), "0 s");
  assert.equal(modelTime(12.5), "12.500 s");
  assert.equal(modelTime(3725.5), "1:02:05.5 h");
  const speed = shownAs({name: "speed", unit: "rad/s"});
  assert.equal(speed.unit, "rpm");
  near(speed.back(speed.of(12)), 12, 1e-12);
  near(shownAs({name: "temperature.winding", unit: "K"}).of(300), 26.85, 1e-9);
  assert.equal(shownAs({name: "state_of_charge", unit: "1"}).unit, "%");
  const slope = typedAs("1");
  assert.deepEqual([slope.unit, slope.of(0.06), slope.back(6)], ["%", 6, 0.06]);
  assert.equal(typedAs("K").of(273.15), 0);
  assert.deepEqual([leadingNumber("-2.6 V"), trailingUnit("-2.6 V"), trailingUnit("5 N m")], [-2.6, "V", "N m"]);
});

// Source: WCAG 2.1, relative luminance and contrast ratio; 4.5:1 for text.
test("text can be read on what it stands on, dark and light", () => {
  const css = fs.readFileSync(new URL("app.css", page), "utf8");
  const schemes = [...css.matchAll(/:root \{([^}]*)\}/g)].map(([, block]) => Object.fromEntries([...block.matchAll(/--([\w-]+): (#\w{6})/g)].map(([, name, hex]) => [name, hex])));
  assert.equal(schemes.length, 2);
  const luminance = (hex) => [1, 3, 5].map((k) => parseInt(hex.slice(k, k + 2), 16) / 255)
    .map((c) => (c <= 0.03928 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4))
    .reduce((sum, c, k) => sum + c * [0.2126, 0.7152, 0.0722][k], 0);
  const contrast = (a, b) => {
    const [low, high] = [luminance(a), luminance(b)].sort((x, y) => x - y);
    return (high + 0.05) / (low + 0.05);
  };
  near(contrast("#ffffff", "#000000"), 21, 1e-9);
  const pairs = [["on-accent", "accent"], ["on-alarm", "alarm"]];
  for (const ground of ["card", "paper", "field"]) for (const ink of ["ink", "soft", "accent", "alarm", "good", "unsure"]) pairs.push([ink, ground]);
  for (let k = 1; k <= 7; ++k) pairs.push([`curve-${k}`, "card"]);
  for (const scheme of schemes) for (const [ink, ground] of pairs) assert.ok(contrast(scheme[ink], scheme[ground]) >= 4.5, `${ink} on ${ground}: ${contrast(scheme[ink], scheme[ground])}`);
});
