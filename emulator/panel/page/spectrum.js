// Spectrum of a signal: FFT of its newest samples.
import uPlot from "./uplot.js";
import {$, colour, el, oncePerFrame, text} from "./dom.js";
import {amplitudeSpectrum, greatestLines} from "./fft.js";
import {curveColour, onThemeChange} from "./palette.js";
import {decimalsFor, ticks} from "./timebase.js";
import {digits, modelTime, shownAs, withPrefix} from "./units.js";

const CANDIDATES = ["phase_current.U", "phase_current.V", "phase_current.W", "torque_mean", "torque", "bus_current", "bus_voltage", "speed"];
const TOPS = [1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01]; // shares of what can be shown

export class Spectrum {
  #session; #view; #plot = null; #spectrum = null; #electrical_Hz = NaN; #redraw; #top_Hz = 1000; #wide = 0; #least = 1e-6;
  constructor(session, view) {
    this.#session = session;
    this.#view = view;
    this.#redraw = oncePerFrame(() => this.#draw());
    for (const id of ["spectrum-of", "spectrum-count"]) $(id).addEventListener("change", () => this.#ask());
    $("spectrum-top").addEventListener("change", () => this.#lay());
    $("spectrum-log").addEventListener("change", () => this.#lay());
    onThemeChange(() => this.#lay());
    new ResizeObserver(() => { if ($("spectrum").clientWidth !== this.#wide) this.#lay(); }).observe($("spectrum"));
    session.on("welcome", (welcome) => {
      const before = $("spectrum-of").value;
      const names = CANDIDATES.filter((name) => welcome.signals.some((s) => s.name === name));
      $("spectrum-of").replaceChildren(...names.map((name) => el("option", {}, name)));
      if (names.includes(before)) $("spectrum-of").value = before;
      const top = $("spectrum-top").value;
      $("spectrum-top").replaceChildren(...TOPS.map((share) => el("option", {value: String(share)}, withPrefix((share * welcome.rate_Hz) / 2, "Hz", 3))));
      $("spectrum-top").value = top || "0.1";
      $("spectrum").hidden = names.length === 0;
      this.#spectrum = null;
      this.#lay();
      this.#ask();
    });
    session.on("look", () => this.#ask());
    session.on(`frame:${view}`, (frame) => {
      if (frame.signals.length < 1) return;
      this.#spectrum = amplitudeSpectrum(frame.signals[0].values, frame.step_s);
      const speed = frame.signals[1]?.values.at(-1);
      this.#electrical_Hz = Math.abs((speed * session.welcome.pole_pairs) / (2 * Math.PI));
      this.#redraw();
    });
  }

  #ask() {
    const of = $("spectrum-of").value, signals = of === "speed" || !this.#session.signal("speed") ? [of, of] : [of, "speed"];
    this.#session.view(this.#view, of ? {kind: "samples", signals: [...new Set(signals)], count: Number($("spectrum-count").value), every_s: 0.5, end_s: this.#session.end_s} : null);
  }

  #lay() {
    const {welcome} = this.#session, width = $("spectrum").clientWidth - 24;
    if (!welcome || width < 60) return;
    this.#wide = $("spectrum").clientWidth;
    this.#plot?.destroy();
    const soft = colour("--soft"), rule = colour("--rule"), log = $("spectrum-log").checked;
    const axis = {stroke: soft, font: "12px system-ui, sans-serif", grid: {stroke: rule, width: 1}, ticks: {show: false}};
    const numbers = (u, at) => at.map((v) => v.toFixed(decimalsFor(at.length > 1 ? at[1] - at[0] : 1)));
    this.#top_Hz = (Number($("spectrum-top").value) * welcome.rate_Hz) / 2;
    const orders = () => this.#electrical_Hz > 0.5;
    $("spectrum-plot").replaceChildren();
    this.#plot = new uPlot({
      width, height: 260, legend: {show: false}, cursor: {show: false}, select: {show: false}, padding: [6, 24, 0, 0],
      scales: {x: {time: false, range: () => [0, this.#top_Hz]},
               y: log ? {distr: 3, range: (u, low, high) => [this.#least, Math.max(this.#least * 10, (high || 1) * 2)]} : {range: (u, low, high) => [0, (high || 1) * 1.1]}},
      axes: [
        {...axis, size: 34, label: "", values: (u, at) => at.map((v) => withPrefix(v, "Hz", 3)), splits: () => ticks(0, this.#top_Hz, width < 500 ? 4 : 8)},
        log ? {...axis, size: 56, values: (u, at) => at.map((v) => (v === null || !/^1(e|0*$)|^0\.0*1$/.test(String(v)) ? "" : withPrefix(v, ""))) }
          : {...axis, size: 56, values: numbers, splits: (u, i, low, high) => ticks(low, high, 6)},
        {...axis, scale: "x", side: 0, size: 30, grid: {show: false},
         splits: () => (orders() ? ticks(0, this.#top_Hz / this.#electrical_Hz, width < 500 ? 4 : 10).map((n) => n * this.#electrical_Hz) : []),
         values: (u, at) => at.map((v, k) => (orders() ? `${Number((v / this.#electrical_Hz).toPrecision(3))}×` : ""))},
      ],
      series: [{}, {stroke: curveColour(1), fill: `${curveColour(1)}22`, width: 1.2, points: {show: false}}],
    }, [[0], [null]], $("spectrum-plot"));
    this.#draw();
  }

  #draw() {
    if (!this.#plot || !this.#session.welcome) return;
    const name = $("spectrum-of").value, signal = this.#session.signal(name);
    const spectrum = this.#spectrum;
    if (!spectrum || !signal) {
      this.#plot.setData([[0], [null]]);
      return text($("spectrum-text"), "Waiting for samples.");
    }
    const shown = shownAs(signal), factor = shown.of(1) - shown.of(0);
    const count = Math.min(spectrum.amplitude.length, Math.ceil(this.#top_Hz / spectrum.step_Hz) + 2);
    const x = new Float64Array(count), y = new Float64Array(count);
    let most = 0;
    for (let k = 0; k < count; ++k) {
      x[k] = k * spectrum.step_Hz;
      y[k] = spectrum.amplitude[k] * factor;
      most = Math.max(most, y[k]);
    }
    this.#least = 10 ** Math.floor(Math.log10(Math.max(most, 1e-6)) - 4);
    if ($("spectrum-log").checked) for (let k = 0; k < count; ++k) y[k] = Math.max(y[k], this.#least);
    this.#plot.setData([x, y]);
    const f_e = this.#electrical_Hz, found = greatestLines(spectrum, 5);
    const lines = found.filter((l) => l.amplitude > 1e-4 * found[0].amplitude);
    const order = (f) => (f_e > 0.5 ? digits(f / f_e, 3) : "–");
    $("spectrum-table").replaceChildren(
      el("thead", {}, el("tr", {}, ...["Greatest lines", `amplitude [${shown.unit}]`, "order"].map((n, k) => el("th", {scope: "col", class: k ? "number" : null}, n)))),
      el("tbody", {}, ...lines.map((l) => el("tr", {}, el("th", {scope: "row"}, withPrefix(l.frequency_Hz, "Hz", 4)),
        el("td", {class: "number"}, digits(l.amplitude * factor, 3)), el("td", {class: "number"}, order(l.frequency_Hz))))));
    const top_Hz = spectrum.step_Hz * spectrum.amplitude.length;
    text($("spectrum-text"), `Amplitude (peak) of ${name}, mean ${digits(shown.of(spectrum.mean), 3)} ${shown.unit} taken out. Hann window over ${withPrefix(spectrum.window_s, "s", 3)} up to ${this.#session.end_s === null ? "now" : modelTime(this.#session.end_s)}: lines ${withPrefix(spectrum.step_Hz, "Hz", 3)} apart, told apart from twice that on. ${
      f_e > 0.5 ? `Orders count the electrical frequency, ${digits(f_e, 4)} Hz now.` : "No orders: the machine stands."} Sampled at the record's grid, ${withPrefix(2 * top_Hz, "Hz", 4)}${
      /mean/.test(name) ? "" : `: what lies above ${withPrefix(top_Hz, "Hz", 4)} folds back`}.`);
  }
}
