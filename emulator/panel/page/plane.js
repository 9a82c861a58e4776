// The current vector in the dq plane with its limits, and the rotor's angle.
import {$, colour, oncePerFrame, text} from "./dom.js";
import {longestVoltage, sectorOf, voltageLimit, voltageOf} from "./dq.js";
import {levelAt} from "./frames.js";
import {sized} from "./logic.js";
import {onThemeChange} from "./palette.js";
import {tickStep, ticks} from "./timebase.js";
import {digits, modelTime} from "./units.js";

const newest = (values) => {
  for (let k = values.length - 1; k >= 0; --k) if (!Number.isNaN(values[k])) return values[k];
  return NaN;
};

export class Plane {
  #session; #trail = null; #halls = ""; #reach = 1; #redraw; #names = []; #wide = 0;
  constructor(session, view) {
    this.#session = session;
    this.#redraw = oncePerFrame(() => this.#draw());
    onThemeChange(() => this.#redraw());
    session.on("welcome", (welcome) => {
      const has = (name) => welcome.signals.some((s) => s.name === name);
      this.#names = ["current_d", "current_q", "angle_e", "speed", "bus_voltage"].filter(has);
      $("plane").hidden = this.#names.length < 5;
      this.#trail = null;
      this.#reach = 1;
      this.#ask(view);
    });
    session.on("look", () => this.#ask(view));
    session.on(`frame:${view}`, (frame) => {
      if (frame.signals.length !== 5) return;
      const [i_d, i_q, angle, speed, bus] = frame.signals.map((s) => s.values);
      this.#trail = {i_d, i_q, angle_rad: newest(angle), speed: newest(speed), bus_V: newest(bus), length_s: frame.columns * frame.step_s};
      this.#redraw();
    });
    new ResizeObserver(() => { if ($("plane").clientWidth !== this.#wide) this.#redraw(); }).observe($("plane"));
  }

  #ask(view) {
    const {welcome, end_s} = this.#session;
    this.#session.view(view, this.#names.length < 5 ? null
      : {kind: "samples", signals: this.#names, count: Math.min(8192, Math.max(16, Math.round(welcome.rate_Hz * 0.1))), every_s: 0.1, end_s});
  }

  /// From the meters' frame, which has the Halls.
  halls(names, frame) {
    const levels = names.map((name, k) => levelAt(frame, k, frame.linesFrom_s + (frame.lineColumns - 0.5) * frame.linesStep_s));
    this.#halls = names.length ? names.map((name, k) => `${name.split(".").at(-1)} ${levels[k] ?? "?"}`).join(", ") : "";
  }

  #draw() {
    this.#wide = $("plane").clientWidth;
    const width = Math.min(420, $("dq").parentElement.clientWidth);
    if (width < 40 || $("plane").hidden || !this.#session.welcome) return;
    this.#drawPlane(width, Math.min(width, 340));
    this.#drawRotor(Math.min(width, 280), Math.min(width, 280));
  }

  #drawPlane(width, height) {
    const pen = sized($("dq"), width, height), trail = this.#trail, welcome = this.#session.welcome;
    const limit_A = welcome.current_limit_A;
    let most = 0;
    if (trail) for (let k = 0; k < trail.i_d.length; ++k) most = Math.max(most, Math.abs(trail.i_d[k]) || 0, Math.abs(trail.i_q[k]) || 0);
    // The limit belongs into the picture, unless the trail were a dot beside it.
    const wanted = limit_A && most > limit_A / 4 ? Math.max(most, limit_A) * 1.15 : Math.max(most * 1.3, (limit_A ?? 20) / 20);
    if (wanted > this.#reach || wanted < this.#reach * 0.5) this.#reach = Math.ceil(wanted / tickStep(wanted, 5)) * tickStep(wanted, 5);
    const reach = this.#reach, scale = (Math.min(width, height) / 2 - 4) / reach, x0 = width / 2, y0 = height / 2;
    const x = (d) => x0 + d * scale, y = (q) => y0 - q * scale;
    pen.font = "12px system-ui, sans-serif";
    pen.lineWidth = 1;
    pen.strokeStyle = colour("--rule");
    pen.fillStyle = colour("--soft");
    for (const value of ticks(-reach, reach, width < 300 ? 5 : 8)) {
      pen.beginPath(); pen.moveTo(x(value), 0); pen.lineTo(x(value), height); pen.moveTo(0, y(value)); pen.lineTo(width, y(value)); pen.stroke();
      pen.textAlign = "center"; pen.textBaseline = "bottom";
      if (value !== 0 && Math.abs(value) < reach * 0.95) {
        pen.fillText(digits(value, 2), x(value), height - 2);
        pen.textAlign = "left"; pen.textBaseline = "middle";
        pen.fillText(digits(value, 2), 2, y(value));
      }
    }
    pen.strokeStyle = colour("--soft");
    pen.beginPath(); pen.moveTo(0, y0); pen.lineTo(width, y0); pen.moveTo(x0, 0); pen.lineTo(x0, height); pen.stroke();
    pen.fillStyle = colour("--ink");
    pen.textAlign = "right"; pen.textBaseline = "bottom"; pen.fillText("i_d [A]", width - 3, y0 - 3);
    pen.textAlign = "left"; pen.textBaseline = "top"; pen.fillText("i_q [A]", x0 + 5, 2);
    if (limit_A) {
      pen.strokeStyle = colour("--alarm");
      pen.setLineDash([7, 4]);
      pen.lineWidth = 1.6;
      pen.beginPath(); pen.arc(x0, y0, limit_A * scale, 0, 2 * Math.PI); pen.stroke();
      pen.setLineDash([]);
    }
    let words = "Waiting for samples.";
    if (trail) {
      const omega_e = trail.speed * welcome.pole_pairs, longest = longestVoltage(trail.bus_V);
      const d = newest(trail.i_d), q = newest(trail.i_q), limits = [];
      if (limit_A) limits.push(`current limit ${digits(limit_A, 3)} A ${limit_A < reach ? "(dashed)" : "(outside the picture)"}`);
      if (welcome.machine) {
        const ellipse = voltageLimit(welcome.machine, omega_e, longest);
        if (ellipse) {
          pen.strokeStyle = colour("--curve-3");
          pen.lineWidth = 1.6;
          pen.beginPath();
          for (const [i_d, i_q] of ellipse) pen.lineTo(x(i_d), y(i_q));
          pen.stroke();
          const seen = ellipse.some(([i_d, i_q]) => Math.abs(i_d) < reach * (width / Math.min(width, height)) && Math.abs(i_q) < reach);
          limits.push(`voltage limit ${digits(longest, 3)} V at this speed ${seen ? "(green)" : "(outside the picture)"}, ${digits((100 * voltageOf(welcome.machine, omega_e, d, q)) / longest, 2)} % used`);
        }
      }
      pen.strokeStyle = colour("--curve-1");
      pen.lineWidth = 1.2;
      pen.beginPath();
      for (let k = 0; k < trail.i_d.length; ++k) pen.lineTo(x(trail.i_d[k]), y(trail.i_q[k]));
      pen.stroke();
      pen.fillStyle = colour("--ink");
      pen.beginPath(); pen.arc(x(d), y(q), 4.5, 0, 2 * Math.PI); pen.fill();
      words = `i_d ${digits(d, 3)} A, i_q ${digits(q, 3)} A; ${digits(trail.length_s * 1000, 2)} ms up to ${this.#session.end_s === null ? "now" : modelTime(this.#session.end_s)}${limits.length ? `; ${limits.join("; ")}` : ""}.`;
    }
    text($("dq-text"), words);
  }

  #drawRotor(width, height) {
    const pen = sized($("rotor"), width, height), trail = this.#trail;
    const x0 = width / 2, y0 = height / 2, r = Math.min(width, height) / 2 - 34;
    const at = (angle, radius) => [x0 + radius * Math.cos(angle), y0 - radius * Math.sin(angle)];
    const sector = trail ? sectorOf(trail.angle_rad) : 0;
    pen.font = "12px system-ui, sans-serif";
    pen.textAlign = "center"; pen.textBaseline = "middle";
    for (let k = 0; k < 6; ++k) {
      const from = (k * Math.PI) / 3, to = from + Math.PI / 3;
      pen.beginPath(); pen.moveTo(x0, y0); pen.arc(x0, y0, r, -to, -from); pen.closePath();
      if (k + 1 === sector) { pen.fillStyle = colour("--field"); pen.fill(); }
      pen.strokeStyle = colour("--rule");
      pen.stroke();
      pen.fillStyle = k + 1 === sector ? colour("--ink") : colour("--soft");
      pen.fillText(String(k + 1), ...at(from + Math.PI / 6, r * 0.78));
      pen.fillStyle = colour("--soft");
      pen.fillText(`${k * 60}°`, ...at(from, r + 18));
    }
    pen.strokeStyle = colour("--soft");
    pen.beginPath(); pen.arc(x0, y0, r, 0, 2 * Math.PI); pen.stroke();
    if (!trail || Number.isNaN(trail.angle_rad)) return;
    pen.strokeStyle = colour("--curve-2");
    pen.lineWidth = 4;
    pen.lineCap = "round";
    pen.beginPath(); pen.moveTo(x0, y0); pen.lineTo(...at(trail.angle_rad, r * 0.92)); pen.stroke();
    pen.fillStyle = colour("--curve-2");
    pen.beginPath(); pen.arc(x0, y0, 5, 0, 2 * Math.PI); pen.fill();
    text($("rotor-text"), `Magnet axis at ${digits((trail.angle_rad * 180) / Math.PI, 3)}° electrical, sector ${sector}${this.#halls ? `; Halls ${this.#halls}` : ""}.`);
  }
}
