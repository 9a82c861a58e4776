// The scope's analog part: one uPlot a strip, all over the same window of time.
import uPlot from "./uplot.js";
import {colour, el} from "./dom.js";
import {extremes, pointTimes, pointValues} from "./frames.js";
import {grouped, looks, stripTitle} from "./grouping.js";
import {curveColour} from "./palette.js";
import {decimalsFor, divisions, steadyRange, tickStep, ticks} from "./timebase.js";
import {shownAs} from "./units.js";

export const RIGHT = 10; // pixels right of the plot, the same for every strip

export class Strips {
  #box; #plots = []; #window = {from: 0, to: 1, zero: 0}; #gutter = 64;
  constructor(box) { this.#box = box; }

  /// Makes the strips anew. signals: of the welcome, in the order of the view.
  lay(signals, how, {width, height, gutter}) {
    for (const {plot} of this.#plots) plot.destroy();
    this.#gutter = gutter;
    const groups = grouped(signals, how);
    const each = Math.max(84, Math.floor(height / Math.max(1, groups.length)));
    this.#plots = groups.map((group) => this.#strip(group, signals, width, each));
    this.#box.replaceChildren(...this.#plots.map((p) => p.box));
  }

  #strip(group, signals, width, height) {
    const unit = shownAs(group[0]).unit;
    const caption = el("div", {class: "strip-name"}, `${stripTitle(group)}${unit ? ` [${unit}]` : ""}`);
    const box = el("div", {class: "strip"}, caption);
    const strip = {box, group, places: group.map((s) => signals.indexOf(s)), range: null, few: false};
    const soft = colour("--soft"), rule = colour("--rule");
    strip.plot = new uPlot({
      width, height,
      padding: [8, RIGHT, 8, 0],
      legend: {show: false}, cursor: {show: false}, select: {show: false},
      scales: {
        x: {time: false, range: () => [this.#window.from, this.#window.to]},
        y: {range: () => strip.range ?? [-1, 1]},
      },
      axes: [
        {size: 0, gap: 0, ticks: {show: false}, values: (u, at) => at.map(() => null), grid: {stroke: rule, width: 1},
         splits: () => divisions(this.#window)},
        {size: this.#gutter, stroke: soft, font: "12px system-ui, sans-serif", grid: {stroke: rule, width: 1},
         ticks: {show: false},
         splits: (u, i, low, high) => ticks(low, high, Math.max(2, Math.floor(height / 34))),
         values: (u, at) => {
           const places = decimalsFor(at.length > 1 ? at[1] - at[0] : tickStep(1, 5));
           return at.map((value) => value.toFixed(places).replace("-", "−"));
         }},
      ],
      series: [{}, ...looks(group).map((look, k) => ({
        label: group[k].name, stroke: curveColour(look.number), width: 1.4, dash: look.dash,
        points: {show: () => strip.few, size: 5},
      }))],
    }, [[0], ...group.map(() => [null])], box);
    return strip;
  }

  /// Draws the frame (null: empty strips) over window {from, to, zero: where divisions count from}.
  draw(frame, window) {
    this.#window = window;
    const times = frame ? pointTimes(frame) : null;
    for (const strip of this.#plots) {
      let low = Infinity, high = -Infinity;
      const data = [times ?? [window.from, window.to]];
      strip.group.forEach((signal, k) => {
        if (!frame) return data.push([null, null]);
        const {of} = shownAs(signal), place = strip.places[k], extreme = extremes(frame, place);
        low = Math.min(low, Number.isNaN(extreme.least) ? Infinity : of(extreme.least));
        high = Math.max(high, Number.isNaN(extreme.greatest) ? -Infinity : of(extreme.greatest));
        data.push(pointValues(frame, place, of));
      });
      strip.range = steadyRange(strip.range, low, high);
      strip.few = frame?.raw === true && frame.columns <= 120;
      strip.plot.setData(data);
    }
  }
}
