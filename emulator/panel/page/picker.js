// Which curves the scope shows: ready-made choices, and every signal and line by name.
import {$, el} from "./dom.js";

const MOST_SIGNALS = 16, MOST_LINES = 25; // of one view

/// Ready-made choices that this bench can show, {name, signals, lines}.
export function readyMade(welcome) {
  const signals = new Set(welcome.signals.map((s) => s.name));
  const lines = welcome.lines;
  const group = (...names) => lines.filter((l) => names.includes(l.group)).map((l) => l.name);
  const has = (...names) => names.filter((name) => signals.has(name));
  const phases = (stem) => has(`${stem}.U`, `${stem}.V`, `${stem}.W`);
  const gates = group("gates");
  return [
    {name: "Currents and gates", signals: phases("phase_current"), lines: gates},
    {name: "Voltages and gates", signals: [...phases("terminal_voltage"), ...has("bus_voltage")], lines: gates},
    {name: "Rotor sensors", signals: has("angle_e", "speed"), lines: group("halls", "encoder")},
    {name: "Drive", signals: has("throttle", "speed", "torque_mean", "load_torque", "bus_current_mean"), lines: group("controller", "driver")},
    {name: "dq currents", signals: has("current_d", "current_q", "torque"), lines: []},
    {name: "Supply", signals: has("bus_voltage", "bus_current", "bridge_current", "state_of_charge"), lines: []},
    {name: "At the pins", signals: [...signals].filter((s) => s.startsWith("sense.")), lines: []},
    {name: "Temperatures", signals: [...signals].filter((s) => s.startsWith("temperature.")), lines: []},
  ].filter((choice) => choice.signals.length + choice.lines.length > 0);
}

/// What a bench is shown first.
export function firstChoice(welcome) {
  const halls = welcome.lines.filter((l) => l.group === "halls").map((l) => l.name);
  const [currents] = readyMade(welcome);
  return currents?.signals.length ? {signals: currents.signals, lines: [...currents.lines, ...halls]}
    : {signals: welcome.signals.slice(0, 3).map((s) => s.name), lines: []};
}

/// Fills the picker; calls choose({signals, lines}) on each change.
export function fillPicker(welcome, chosen, choose) {
  const search = el("input", {type: "search", placeholder: "current, hall, temperature …", autocomplete: "off", "aria-label": "Find a curve"});
  const ready = el("div", {class: "bar", role: "group", "aria-label": "Ready-made choices"},
    ...readyMade(welcome).map((choice) => el("button", {type: "button", onclick: () => { choose(choice); fillPicker(welcome, choice, choose); }}, choice.name)));
  const full = el("p", {class: "soft", role: "status"});
  const box = (kind, name, words) => {
    const input = el("input", {type: "checkbox", checked: chosen[kind].includes(name)});
    input.addEventListener("change", () => {
      const rest = chosen[kind].filter((other) => other !== name);
      const most = kind === "signals" ? MOST_SIGNALS : MOST_LINES;
      if (input.checked && rest.length >= most) {
        input.checked = false;
        full.textContent = `At most ${most} ${kind} at once; take one out first.`;
        return;
      }
      full.textContent = "";
      chosen = {...chosen, [kind]: input.checked ? [...rest, name] : rest};
      choose(chosen);
    });
    return el("label", {"data-words": `${name} ${words}`.toLowerCase()}, input, el("span", {}, name, " ", el("small", {}, words)));
  };
  const choices = el("div", {class: "choices"},
    ...welcome.signals.map((s) => box("signals", s.name, s.unit === "1" ? s.text : `${s.unit}; ${s.text}`)),
    ...welcome.lines.map((l) => box("lines", l.name, `line, ${l.group}`)));
  search.addEventListener("input", () => {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const label of choices.children) label.hidden = !words.every((word) => label.dataset.words.includes(word));
  });
  $("picker-body").replaceChildren(ready, search, full, choices);
}
