// The driver's place: seat, throttle, switches, set points. Made from what the bench says it can do.
import {$, el, text} from "./dom.js";
import {Throttle} from "./throttle.js";
import {leadingNumber, trailingUnit, typedAs} from "./units.js";

const KEYS = {key: "K", brake: "B", reverse: "R"};
// What is there unless somebody takes it away.
const USUALLY_ON = new Set(["supply", "command_pulse"]);
const isOn = (name, words) => (words ?? (USUALLY_ON.has(name) ? "on" : "off")) === "on";
const plain = (name) => name[0].toUpperCase() + name.slice(1).replaceAll("_", " ");

export class Drive {
  #session; #switches = new Map(); #points = new Map(); #throttle = null; #laid = "";
  constructor(session) {
    this.#session = session;
    $("seat").addEventListener("click", () => session.seat(session.drives ? "release" : "take"));
    $("save").addEventListener("click", () => this.#save());
    $("report-link").addEventListener("click", (event) => this.#report(event));
    session.on("welcome", (welcome) => {
      this.#lay(welcome);
      $("save").hidden = !welcome.can_drive;
    });
    session.on("state", (state) => this.#state(state));
    session.on("status", ({phase}) => {
      if (phase === "open") return;
      $("controls").disabled = $("seat").disabled = true;
      text($("seat-why"), "Not connected.");
    });
    session.on("refused", ({what, why}) => {
      $("refusal").hidden = false;
      text($("refusal"), typeof what === "string" && !why.startsWith("the connection") ? `${plain(what)}: ${why}` : why);
    });
    session.on("done", () => { $("refusal").hidden = true; });
  }

  toggle(name) {
    const button = this.#switches.get(name);
    if (button && !button.matches(":disabled")) button.click();
  }
  nudge(by) { this.#throttle?.nudge(by); }
  release() { this.#throttle?.release(); }

  #lay(welcome) {
    const laid = JSON.stringify(welcome.actions.map(({now, ...rest}) => rest));
    if (laid === this.#laid) return; // the same run, on a new connection: what was typed stays
    this.#laid = laid;
    this.#switches.clear();
    this.#points.clear();
    this.#throttle = null;
    const rows = [], switches = [];
    for (const action of welcome.actions) {
      if (action.name === "throttle") {
        this.#throttle = new Throttle(action, (words) => this.#session.act({throttle: words}, "throttle"));
        rows.unshift(this.#throttle.box);
      }
      if (action.form === "on_off") switches.push(this.#switch(action));
      else rows.push(this.#setPoint(action));
    }
    if (switches.length) rows.splice(this.#throttle ? 1 : 0, 0, el("div", {class: "switches", role: "group", "aria-label": "Switches"}, ...switches));
    const points = rows.filter((row) => row.matches(".setpoint")), rest = rows.filter((row) => !row.matches(".setpoint"));
    const folded = el("details", {class: "points"}, el("summary", {}, "Set points and ramps"), ...points);
    $("controls").replaceChildren($("controls").firstElementChild, ...rest, ...(points.length ? [folded] : []));
  }

  #switch(action) {
    const button = el("button", {type: "button", role: "switch", "aria-checked": String(isOn(action.name, action.now)), title: action.text, "data-action": action.name},
      plain(action.name), KEYS[action.name] ? el("kbd", {}, KEYS[action.name]) : null);
    if (KEYS[action.name]) button.firstChild.data += " ";
    button.addEventListener("click", () => {
      const wanted = button.getAttribute("aria-checked") === "true" ? "off" : "on";
      button.setAttribute("aria-checked", String(wanted === "on"));
      button.dataset.touched = String(performance.now());
      this.#session.act({[action.name]: wanted}, action.name);
    });
    this.#switches.set(action.name, button);
    return button;
  }

  #setPoint(action) {
    const id = `set-${action.name}`;
    const typed = typedAs(action.unit === "" && action.allowed.includes("%") ? "1" : action.unit), bound = (x) => (Number.isFinite(x) ? String(typed.of(x)) : null);
    const value = el("input", {id, type: "number", step: "any", min: bound(action.least), max: bound(action.most), inputmode: "decimal",
      required: true, "aria-describedby": `${id}-allowed`, "data-unit": typed.unit});
    this.#follow(value, action.now);
    const over = action.form === "ramp" ? el("input", {class: "over", type: "number", step: "any", min: "0", value: "0.5", inputmode: "decimal", "aria-label": "Ramp time in seconds"}) : null;
    const body = action.of ? el("select", {"aria-label": "body", class: "body"}, ...action.of.map((word) => el("option", {}, word))) : null;
    const form = el("form", {class: "setpoint", "data-action": action.name},
      el("label", {for: id, class: "name"}, plain(action.name), " ", el("span", {class: "soft", id: `${id}-allowed`}, `${action.text}; ${action.allowed}`)),
      body, value, el("span", {class: "soft"}, typed.unit.replace("degC", "°C")),
      over ? el("label", {class: "field"}, "in ", over, " s") : el("span"), el("button", {type: "submit"}, "Set"));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const act = {[action.name]: `${Number(value.value)} ${typed.unit}`};
      if (over && Number(over.value) > 0) act.over = `${Number(over.value)} s`;
      if (body) act.body = body.value;
      this.#session.act(act, `${action.name} ${body?.value ?? ""} set`);
    });
    this.#points.set(action.name, value);
    return form;
  }

  /// Shows what is set, where it is written in the field's own unit.
  #follow(field, words) {
    const number = leadingNumber(words);
    if (!Number.isNaN(number) && trailingUnit(words) === field.dataset.unit) field.value = String(number);
  }

  #state(state) {
    const {welcome} = this.#session, drives = this.#session.drives, ended = state.phase === "ended";
    if (!welcome?.live) return;
    $("seat").disabled = !welcome.can_drive || ended || (!drives && state.driver !== null);
    text($("seat"), drives ? "Release the seat" : "Take the seat");
    $("seat").setAttribute("aria-pressed", String(drives));
    const waits = state.phase === "waiting";
    $("controls").disabled = !drives || ended || waits;
    text($("seat-why"), !welcome.can_drive ? "This run cannot be driven by hand; it follows its scenario."
      : ended ? "The run has ended." : drives ? (waits ? "You drive. Controls work from Start on." : "You drive.")
      : state.driver !== null ? "You watch: somebody else drives, and controls are theirs until they release the seat. Stop is everybody's."
      : "You watch: take the seat to drive. Stop is everybody's.");
    for (const [name, words] of Object.entries(state.set ?? {})) {
      const button = this.#switches.get(name), point = this.#points.get(name);
      if (name === "throttle") this.#throttle?.follow(words);
      if (button && performance.now() - Number(button.dataset.touched ?? -1e9) > 800) button.setAttribute("aria-checked", String(words === "on"));
      if (point && document.activeElement !== point) this.#follow(point, words);
    }
    $("report-link").hidden = !state.report;
    text($("save"), state.saved ? `Save ${state.saved}` : "Save driven scenario");
  }

  async #fetch(path) {
    const {token} = this.#session;
    const answer = await fetch(path, token ? {headers: {Authorization: `Bearer ${token}`}} : {});
    if (!answer.ok) throw new Error(`${path}: ${answer.status} ${answer.statusText}`);
    return answer.blob();
  }
  async #save() {
    try {
      this.#download(await this.#fetch("/scenario.yaml"), "driven-scenario.yaml");
    } catch (error) {
      $("refusal").hidden = false;
      text($("refusal"), `The scenario could not be fetched (${error.message}).`);
    }
  }
  async #report(event) {
    if (!this.#session.token) return; // the link does it
    event.preventDefault();
    try {
      this.#download(await this.#fetch("/report.html"), "report.html");
    } catch (error) {
      $("refusal").hidden = false;
      text($("refusal"), `The report could not be fetched (${error.message}).`);
    }
  }
  #download(blob, name) {
    const link = el("a", {href: URL.createObjectURL(blob), download: name});
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  }
}
