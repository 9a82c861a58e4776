// Big numbers: what one glance should tell. One coarse view of the last half second feeds them.
import {$, el, text} from "./dom.js";
import {extremes} from "./frames.js";
import {phaseRms} from "./dq.js";
import {digits, shownAs} from "./units.js";

const PHASES = ["phase_current.U", "phase_current.V", "phase_current.W"];
const NAMES = ["speed", "torque_mean", "bus_voltage", "bus_current_mean", "bridge_power", "throttle", "state_of_charge",
               "vehicle_speed", "temperature.winding", "temperature.magnet", "temperature.heatsink", "temperature.junction"];
const WORDS = {
  speed: "Speed", torque_mean: "Torque, mean", bus_voltage: "Bus voltage", bus_current_mean: "Bus current", bridge_power: "Bridge power",
  throttle: "Throttle", state_of_charge: "Charge", vehicle_speed: "Cart", "temperature.winding": "Winding", "temperature.magnet": "Magnets",
  "temperature.heatsink": "Heatsink", "temperature.junction": "Junction",
};

export class Meters {
  #session; #names = []; #shown = new Map(); #told = 0;
  constructor(session, view, samplesView, onHalls) {
    this.#session = session;
    let halls = [];
    session.on("welcome", (welcome) => {
      const has = (name) => welcome.signals.some((s) => s.name === name);
      // Every bench has the signal; only one on a road has a cart.
      const cart = !welcome.live || welcome.actions.some((action) => action.name === "rolling_factor");
      this.#names = [...PHASES, ...NAMES].filter((name) => has(name) && (cart || name !== "vehicle_speed")).slice(0, 16);
      halls = welcome.lines.filter((l) => l.group === "halls").map((l) => l.name);
      this.#lay();
      this.#ask = () => session.view(view, this.#names.length ? {kind: "scope", signals: this.#names, lines: halls, span_s: 0.5,
        end_s: welcome.live ? null : session.end_s, columns: 50} : null);
      this.#ask();
    });
    // Who drives looks at the present, wherever the scope stands.
    session.on("look", () => { if (!session.welcome?.live) this.#ask(); });
    session.on(`frame:${view}`, (frame) => {
      if (frame.signals.length !== this.#names.length) return;
      if (halls.length && frame.lines.length === halls.length) onHalls(halls, frame);
      if (performance.now() - this.#told < 200 && frame.follows) return;
      this.#told = performance.now();
      this.#tell(frame);
    });
    session.on(`frame:${samplesView}`, (frame) => {
      if (frame.signals.length >= 2 && this.#shown.has("rms")) this.#say("rms", digits(phaseRms(frame.signals[0].values, frame.signals[1].values), 3), "A");
    });
  }
  #ask = () => {};

  #lay() {
    this.#shown.clear();
    const meter = (key, words, explained) => {
      const value = el("dd", {}, "–");
      this.#shown.set(key, value);
      return el("div", {title: explained, "data-meter": key}, el("dt", {}, words), value);
    };
    const rows = NAMES.filter((name) => this.#names.includes(name)).map((name) => meter(name, WORDS[name], this.#session.signal(name).text));
    if (this.#names.includes(PHASES[0])) {
      rows.splice(3, 0, meter("peak", "Phase peak", "greatest magnitude of the three phase currents in the last half second"),
        meter("rms", "Phase rms", "of the three phases together, over the last tenth of a second"));
    }
    $("meters-body").replaceChildren(...rows);
    $("meters").hidden = rows.length === 0;
  }
  #say(key, number, unit) {
    const cell = this.#shown.get(key);
    if (!cell) return;
    if (cell.childNodes.length < 2) cell.replaceChildren("", el("small", {}, ""));
    if (cell.firstChild.data !== number) cell.firstChild.data = number;
    text(cell.lastChild, ` ${unit}`);
  }
  #tell(frame) {
    let peak = NaN;
    this.#names.forEach((name, k) => {
      const found = extremes(frame, k);
      if (PHASES.includes(name)) {
        const most = Math.max(Math.abs(found.least), Math.abs(found.greatest));
        if (!Number.isNaN(most)) peak = Number.isNaN(peak) ? most : Math.max(peak, most);
        return;
      }
      const shown = shownAs(this.#session.signal(name)), value = shown.of(found.newest);
      const decimals = shown.unit === "°C" || shown.unit === "%" ? 1 : Math.abs(value) < 0.1 ? 3 : null; // far below what matters a number only flickers
      this.#say(name, decimals === null || Number.isNaN(value) ? digits(value, 3) : value.toFixed(decimals).replace(/^-(?=[0.]*$)/, "").replace("-", "−"), shown.unit);
    });
    this.#say("peak", digits(peak, 3), "A");
  }
}
