// The throttle: a slider over the travel between idle and full, in volts and percent.
import {el, text} from "./dom.js";
import {leadingNumber, trailingUnit} from "./units.js";

const STEPS = 1000; // of the slider

/// Where the slider's ends lie: idle and full where the bench knows them, else what is allowed.
export function travel(action) {
  const known = Number.isFinite(action.idle) && Number.isFinite(action.full);
  return {idle: known ? action.idle : action.least ?? 0, full: known ? action.full : action.most ?? 5, known};
}
/// Volts at a share of the travel, to a millivolt.
export const voltsAt = ({idle, full}, share) => Number((idle + Math.min(1, Math.max(0, share)) * (full - idle)).toFixed(3));
/// Share of the travel that a scenario's text ("2.6 V", "45 %") stands for; NaN where it is neither.
export function shareOf(way, words) {
  const value = leadingNumber(words), unit = trailingUnit(words);
  return unit === "%" ? value / 100 : unit === "mV" ? (value / 1000 - way.idle) / (way.full - way.idle) : (value - way.idle) / (way.full - way.idle);
}

export class Throttle {
  #way; #send; #slider; #says; #spring; #quiet = 0;
  constructor(action, send) {
    this.#way = travel(action);
    this.#send = send;
    this.#slider = el("input", {type: "range", id: "throttle", min: "0", max: String(STEPS), step: "5", value: "0", "aria-label": "Throttle"});
    this.#says = el("output", {for: "throttle"});
    this.#spring = el("input", {type: "checkbox"});
    this.box = el("div", {class: "throttle"},
      el("div", {class: "bar"}, el("h3", {}, "Throttle"), this.#says,
        el("label", {class: "check"}, this.#spring, " springs back")), this.#slider);
    this.#slider.addEventListener("input", () => this.#moved());
    // "change" comes when the finger lets go; with keys, at each step: there the key's release counts.
    this.#slider.addEventListener("pointerup", () => this.release());
    this.#slider.addEventListener("pointercancel", () => this.release());
    this.#slider.addEventListener("keyup", (event) => { if (/^(Arrow|Page|Home|End)/.test(event.key)) this.release(); });
    const now = shareOf(this.#way, action.now);
    this.#show(Number.isNaN(now) ? 0 : now);
  }

  /// Moves by a share of the travel, from the keyboard.
  nudge(by) {
    if (this.#slider.matches(":disabled")) return;
    this.#slider.value = String(Number(this.#slider.value) + by * STEPS);
    this.#moved();
  }
  release() {
    if (!this.#spring.checked || this.#slider.value === "0") return;
    this.#slider.value = "0";
    this.#moved();
  }
  /// What the run says was set last; not while a hand is on it.
  follow(words) {
    if (performance.now() - this.#quiet < 800 || this.#slider.matches(":active")) return;
    const share = shareOf(this.#way, words);
    if (!Number.isNaN(share)) this.#show(share);
  }

  #moved() {
    this.#quiet = performance.now();
    const share = Number(this.#slider.value) / STEPS;
    this.#show(share);
    this.#send(`${voltsAt(this.#way, share)} V`);
  }
  #show(share) {
    const volts = Number((this.#way.idle + share * (this.#way.full - this.#way.idle)).toFixed(3));
    this.#slider.value = String(Math.min(1, Math.max(0, share)) * STEPS);
    const words = `${volts.toFixed(2)} V${this.#way.known ? `, ${Math.round(share * 100)} % of travel` : ""}`;
    text(this.#says, words);
    this.#slider.setAttribute("aria-valuetext", words);
  }
}
