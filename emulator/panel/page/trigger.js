// The trigger's form, and what it waits for or has caught.
import {$, el, text} from "./dom.js";
import {modelTime, shownAs} from "./units.js";

/// The message for a form's values; null where something is missing.
export function triggerMessage({on, signal, level, slope, line, name, before, single}) {
  if (on === "off") return {on};
  const common = {on, before: Math.min(1, Math.max(0, before / 100)), single};
  if (on === "level") return signal && Number.isFinite(level) ? {...common, signal, level, slope} : null;
  if (on === "edge") return line ? {...common, line, slope} : null;
  return name ? {...common, name} : common;
}

export class TriggerForm {
  #session; #fields = {}; #waits = "";
  constructor(session, onChange) {
    this.#session = session;
    this.onChange = onChange;
    this.caught = null;
    $("trigger-on").addEventListener("change", () => {
      this.#lay();
      if ($("trigger-on").value === "off") this.arm();
    });
    $("trigger").addEventListener("submit", (event) => { event.preventDefault(); this.arm(); });
    session.on("welcome", () => this.#lay());
    session.on("armed", (armed) => {
      if (!armed && $("trigger-on").value !== "off") return;
      this.#say(armed ? `armed, waits for ${this.#waits}` : "off", armed ? "armed" : "");
    });
    session.on("caught", (caught) => {
      this.caught = caught;
      this.#say(`caught ${caught.what} at ${modelTime(caught.t_s, 6)}${this.#fields.single?.checked ? "; held until armed again" : ""}`, "caught");
      this.onChange("caught");
    });
  }

  /// Off, from outside: the picture moves on.
  off() {
    $("trigger-on").value = "off";
    this.#lay();
    this.arm();
  }

  arm() {
    const on = $("trigger-on").value, f = this.#fields;
    const signal = f.signal && this.#session.signal(f.signal.value);
    const message = triggerMessage({
      on, signal: signal?.name, line: f.line?.value, name: f.name?.value.trim(), slope: f.slope?.value,
      level: signal ? shownAs(signal).back(Number(f.level.value)) : NaN,
      before: Number(f.before?.value ?? 25), single: f.single?.checked ?? true,
    });
    if (!message) return this.#say("something is missing", "");
    this.#waits = on === "level" ? `${signal.name} at ${f.level.value} ${shownAs(signal).unit}` : on === "edge" ? `${f.line.value}, ${f.slope.value}` : message.name ?? `any ${on}`;
    this.caught = null;
    this.#session.trigger(message);
    this.#say(on === "off" ? "off" : "arming …", "");
    this.onChange("armed");
  }

  #say(words, state) {
    text($("trigger-state"), words === "off" ? "" : words);
    $("trigger-state").className = state;
  }

  #lay() {
    const on = $("trigger-on").value, welcome = this.#session.welcome, before = this.#fields;
    const options = (names) => names.map((name) => el("option", {}, name));
    const keep = (name, input) => {
      if (before[name]) {
        if (input.type === "checkbox") input.checked = before[name].checked;
        else input.value = before[name].value;
        if (input.tagName === "SELECT" && input.selectedIndex < 0) input.selectedIndex = 0;
      }
      this.#fields[name] = input;
      return input;
    };
    this.#fields = {};
    $("trigger-arm").hidden = on === "off";
    if (on === "off" || !welcome) return $("trigger-fields").replaceChildren();
    const rows = [];
    const field = (words, input) => rows.push(el("label", {class: "field"}, words, " ", input));
    if (on === "level") {
      const unit = el("span", {class: "soft"});
      const signal = keep("signal", el("select", {}, ...options(welcome.signals.map((s) => s.name))));
      const tell = () => text(unit, shownAs(this.#session.signal(signal.value)).unit);
      signal.addEventListener("change", tell);
      field("of", signal);
      field("at", keep("level", el("input", {type: "number", step: "any", value: "0", inputmode: "decimal"})));
      rows.push(unit);
      tell();
    }
    if (on === "edge") field("of", keep("line", el("select", {}, ...options(welcome.lines.map((l) => l.name)))));
    if (on === "level" || on === "edge") field("slope", keep("slope", el("select", {}, ...options(["rising", "falling", "either"]))));
    if (["fault", "event", "action"].includes(on)) {
      const names = on === "fault" ? welcome.faults.map((f) => f.name) : on === "action" ? welcome.actions.map((a) => a.name) : ["all gates off"];
      field("named", keep("name", el("input", {type: "text", placeholder: "any", list: "trigger-names", autocomplete: "off"})));
      rows.push(el("datalist", {id: "trigger-names"}, ...options(names)));
    }
    field("before it, %", keep("before", el("input", {type: "number", min: "0", max: "100", step: "5", value: "25"})));
    rows.push(el("label", {class: "check"}, keep("single", el("input", {type: "checkbox", checked: true})), " single shot"));
    $("trigger-fields").replaceChildren(...rows);
  }
}
