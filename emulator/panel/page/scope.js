// The scope: which curves over which stretch of time, and its picture.
import {$, el, keep, kept, oncePerFrame, text} from "./dom.js";
import {broughtIn} from "./cursors.js";
import {extremes, levelAt} from "./frames.js";
import {grouped, looks} from "./grouping.js";
import {drawLogic, drawOverlay, drawTimeAxis, ROW} from "./logic.js";
import {onThemeChange} from "./palette.js";
import {fillPicker, firstChoice} from "./picker.js";
import {drawReadout} from "./readout.js";
import {watchGestures} from "./scope_gestures.js";
import {RIGHT, Strips} from "./strips.js";
import {endAfterZoom, nextSpan, SPANS_s, spanFor} from "./timebase.js";
import {TriggerForm} from "./trigger.js";
import {digits, modelTime, shownAs, withPrefix} from "./units.js";

const VIEW = 0;
const CALM_ms = 500; // between pictures where motion is to be reduced

export class Scope {
  #session; #strips = new Strips($("strip-box")); #frame = null; #size = null; #redraw; #told = 0; #calm = 0; #trigger; #shown = "";
  chosen = {signals: [], lines: []};
  span_s = 0.1;
  end_s = null; // null: follows the present, or stands at the trigger
  cursors = null;
  cursor = "A";

  constructor(session) {
    this.#session = session;
    this.#redraw = oncePerFrame(() => this.#draw());
    this.#trigger = new TriggerForm(session, (what) => {
      if (what === "armed" && this.end_s !== null && session.welcome?.live) this.end_s = null;
      this.#ask();
    });
    $("span").append(...SPANS_s.map((s) => el("option", {value: String(s)}, `${withPrefix(s / 10, "s")}/div`)));
    $("span").addEventListener("change", () => this.zoom(Number($("span").value)));
    $("span-less").addEventListener("click", () => this.zoom(nextSpan(this.span_s, -1)));
    $("span-more").addEventListener("click", () => this.zoom(nextSpan(this.span_s, +1)));
    $("hold").addEventListener("click", () => this.toggleHold());
    $("whole").addEventListener("click", () => this.whole());
    $("cursors").addEventListener("click", () => this.toggleCursors());
    $("goto").addEventListener("change", () => { if ($("goto").value) this.show(Number($("goto").value)); });
    $("strips").value = kept("strips", "unit");
    $("strips").addEventListener("change", () => { keep("strips", $("strips").value); this.#lay(); });
    $("values").addEventListener("toggle", () => this.#redraw());
    watchGestures($("stack"), this);
    onThemeChange(() => this.#lay());
    new ResizeObserver(() => { if ($("stack").clientWidth !== this.#size?.width) this.#lay(); }).observe($("stack"));

    session.on("welcome", (welcome) => this.#welcome(welcome));
    session.on("status", ({phase}) => {
      // What was caught stays on the page until it can be asked for again.
      if (phase !== "open" && this.#frame?.caught) this.hold();
    });
    session.on("marks", () => this.#redraw());
    session.on(`frame:${VIEW}`, (frame) => {
      if (frame.signals.length !== this.chosen.signals.length || frame.lines.length !== this.chosen.lines.length) return;
      if (frame.follows && !frame.caught && matchMedia("(prefers-reduced-motion: reduce)").matches) {
        if (performance.now() - this.#calm < CALM_ms) return;
        this.#calm = performance.now();
      }
      this.#shiftCursors(frame);
      this.#frame = frame;
      this.#redraw();
    });
  }

  /// {from, to} of the picture.
  get window() {
    const frame = this.#frame;
    if (this.end_s !== null) return {from: this.end_s - this.span_s, to: this.end_s};
    if (!frame) return {from: 0, to: this.span_s};
    if (frame.lineColumns > 0) return {from: frame.linesFrom_s, to: frame.linesFrom_s + this.span_s};
    if (!frame.raw) return {from: frame.from_s, to: frame.from_s + this.span_s};
    const to = frame.from_s + (frame.columns - 1) * frame.step_s;
    return {from: to - this.span_s, to};
  }
  get plot() { return {left: this.#size?.gutter ?? 0, width: (this.#size?.width ?? 1) - (this.#size?.gutter ?? 0) - RIGHT}; }
  timeAt(x) { return this.window.from + ((x - this.plot.left) / this.plot.width) * this.span_s; }
  xOf(t) { return this.plot.left + ((t - this.window.from) / this.span_s) * this.plot.width; }

  choose(chosen) {
    this.chosen = {signals: chosen.signals.slice(0, 16), lines: chosen.lines.slice(0, 25)};
    keep(`curves ${this.#session.welcome?.bench}`, this.chosen);
    this.#frame = null;
    this.#lay();
  }
  /// at_s: what stands still; else the end that follows, the trigger, or the middle.
  zoom(span_s, at_s = null) {
    const window = this.window, wanted = Math.min(SPANS_s.at(-1), Math.max(SPANS_s[0], span_s));
    if (this.end_s !== null || (this.#frame?.caught && at_s !== null)) {
      this.end_s = endAfterZoom({from_s: window.from, span_s: this.span_s}, at_s ?? (window.from + window.to) / 2, wanted);
    }
    this.span_s = wanted;
    keep("span_s", wanted);
    this.#ask();
  }
  /// Moves the picture by seconds, to the past with a negative number.
  pan(by_s) {
    this.end_s = Math.max(this.span_s * 0.1, this.window.to + by_s);
    this.#ask();
  }
  hold() {
    if (this.end_s === null) this.end_s = this.window.to;
    this.#ask();
  }
  follow() {
    this.end_s = null;
    this.#ask();
  }
  toggleHold() {
    if (!this.#session.welcome?.live) return;
    if (this.#frame?.caught && this.end_s === null) return this.#trigger.off();
    if (this.end_s === null) this.hold(); else this.follow();
  }
  whole() {
    const end = this.#session.state?.t_s ?? this.span_s;
    this.span_s = spanFor(end);
    this.end_s = this.span_s;
    this.#ask();
  }
  /// Brings a time into the middle.
  show(t_s) {
    this.end_s = Math.max(t_s, 0) + this.span_s / 2;
    this.#ask();
    $("scope").scrollIntoView({block: "nearest"});
  }
  arm() { if ($("trigger-on").value !== "off") this.#trigger.arm(); }
  toggleCursors() {
    this.cursors = this.cursors ? null : broughtIn(null, this.window);
    // What is measured has to stand still; what a trigger holds does.
    if (this.cursors && this.end_s === null && !this.#frame?.caught) this.hold();
    if (this.cursors) $("values").open = true;
    this.#redraw();
  }
  moveCursor(name, t_s) {
    this.cursor = name;
    this.cursors[name] = Math.min(this.window.to, Math.max(this.window.from, t_s));
    this.#redraw();
  }

  #welcome(welcome) {
    const known = new Set([...welcome.signals.map((s) => s.name), ...welcome.lines.map((l) => l.name)]);
    const before = kept(`curves ${welcome.bench}`, null) ?? firstChoice(welcome);
    this.chosen = {signals: before.signals.filter((n) => known.has(n)), lines: before.lines.filter((n) => known.has(n))};
    if (this.chosen.signals.length + this.chosen.lines.length === 0) this.chosen = firstChoice(welcome);
    this.span_s = kept("span_s", 0.1);
    if (!(this.span_s >= SPANS_s[0] && this.span_s <= SPANS_s.at(-1))) this.span_s = 0.1;
    const same = this.#shown === `${welcome.bench} ${welcome.scenario} ${welcome.lasts_s}`;
    this.#shown = `${welcome.bench} ${welcome.scenario} ${welcome.lasts_s}`;
    fillPicker(welcome, this.chosen, (chosen) => this.choose(chosen));
    this.#lay();
    if (same) return; // back after a lost connection, where it was
    this.#frame = null;
    this.end_s = null;
    this.cursors = null;
    if (!welcome.live) this.#session.addEventListener("state", () => this.whole(), {once: true});
  }
  #shiftCursors(frame) {
    const before = this.#frame?.trigger_s, now = frame.trigger_s;
    if (this.cursors && this.end_s === null && Number.isFinite(before) && Number.isFinite(now) && before !== now) {
      for (const name of ["A", "B"]) this.cursors[name] += now - before;
    }
  }
  #signals() { return this.chosen.signals.map((name) => this.#session.signal(name)); }

  #lay() {
    const width = $("stack").clientWidth;
    if (!this.#session.welcome || width < 50) return;
    const gutter = width < 500 ? 46 : 64, logic = this.chosen.lines.length * ROW + 6;
    const strips = grouped(this.#signals(), $("strips").value).length;
    const room = Math.max(strips * 110, Math.min(strips * 420, innerHeight - 340 - logic));
    this.#size = {width, gutter};
    this.#strips.lay(this.#signals(), $("strips").value, {width, gutter, height: room});
    this.#chips();
    this.#ask();
  }
  #chips() {
    const groups = grouped(this.#signals(), $("strips").value), number = new Map();
    for (const group of groups) looks(group).forEach((look, k) => number.set(group[k].name, look.number));
    const chip = (kind, name) => el("span", {class: "chip", role: "listitem", "data-curve": name},
      el("span", {class: `swatch c${number.get(name) ?? 7}`}), name, el("output", {}),
      el("button", {type: "button", "aria-label": `Take ${name} out`, onclick: () => {
        const left = {...this.chosen, [kind]: this.chosen[kind].filter((other) => other !== name)};
        this.choose(left);
        fillPicker(this.#session.welcome, left, (chosen) => this.choose(chosen));
      }}, "×"));
    $("chips").replaceChildren(...this.chosen.signals.map((name) => chip("signals", name)));
  }
  #ask() {
    if (!this.#size) return;
    this.#session.look(this.end_s === null ? null : Math.max(0, Math.min(this.end_s, this.#session.state?.t_s ?? this.end_s)));
    if (this.chosen.signals.length + this.chosen.lines.length === 0) {
      this.#session.view(VIEW, null);
    } else {
      this.#session.view(VIEW, {kind: "scope", signals: this.chosen.signals, lines: this.chosen.lines, span_s: this.span_s,
        end_s: this.end_s, columns: Math.round(Math.min(1600, Math.max(100, this.plot.width)))});
    }
    this.#redraw();
  }

  #draw() {
    if (!this.#size) return;
    const frame = this.#frame, live = this.#session.welcome.live, {from, to} = this.window;
    const caught = frame?.caught && Number.isFinite(frame.trigger_s);
    const zero = caught ? frame.trigger_s : this.end_s === null && live ? to : from;
    const window = {from, to, zero};
    this.#strips.draw(frame, window);
    drawLogic($("logic"), frame, this.chosen.lines, window, this.#size);
    drawTimeAxis($("axis"), window, this.#size);
    const marks = this.#session.marks.filter((m) => m.t_s <= window.to && (m.t_s >= window.from || (m.kind === "gap" && m.to_s >= window.from)));
    drawOverlay($("overlay"), window, {marks, trigger_s: frame?.trigger_s, cursors: this.cursors ?? {}, chosen: this.cursor},
      {...this.#size, height: $("stack").clientHeight - 22});

    const state = this.#session.state, follows = this.end_s === null && live;
    text($("window-text"), `${withPrefix(this.span_s / 10, "s")} a division, ${withPrefix(this.span_s, "s")} in all; 0 is ${
      caught ? `the trigger at ${modelTime(zero, 6)}` : follows ? `now, ${modelTime(zero)}` : modelTime(zero, 6)}${
      frame ? frame.raw ? `; each sample is drawn, ${withPrefix(frame.step_s, "s")} apart` : `; a column is ${withPrefix(frame.step_s, "s")}, with its least and greatest` : ""}`);
    $("hold").setAttribute("aria-pressed", String(!follows || caught === true));
    $("hold").firstChild.data = caught && follows ? "Release " : follows ? "Hold " : "Follow ";
    $("hold").hidden = !live;
    $("cursors").setAttribute("aria-pressed", String(this.cursors !== null));
    const step = SPANS_s.find((s) => Math.abs(s / this.span_s - 1) < 1e-6);
    $("span").value = step ? String(step) : "";
    $("stack-note").hidden = frame !== null;
    text($("stack-note"), !this.chosen.signals.length && !this.chosen.lines.length ? "Choose curves to show."
      : state?.phase === "waiting" ? "The run waits for Start." : "Waiting for the first picture.");
    if (performance.now() - this.#told > 200 || !follows) this.#tell(frame, window);
  }
  #tell(frame, window) {
    this.#told = performance.now();
    if (frame) {
      this.#signals().forEach((signal, k) => {
        const shown = shownAs(signal), output = $("chips").children[k]?.querySelector("output");
        if (output) text(output, `${digits(shown.of(extremes(frame, k).newest))} ${shown.unit}`);
      });
      const levels = this.chosen.lines.map((name, k) => `${name} ${levelAt(frame, k, window.to - frame.linesStep_s / 2) ?? "not known"}`);
      $("logic").setAttribute("aria-label", levels.join(", "));
    }
    if ($("values").open) drawReadout($("values-table"), frame, this.#signals(), this.chosen.lines, this.cursors, window);
  }
}
