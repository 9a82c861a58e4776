// What can break on this bench, and what is broken now.
import {$, el, text} from "./dom.js";

const plain = (name) => name.replaceAll("_", " ");

/// The message that clears what the state calls "hall_line_open U": its words belong to the options that know them.
export function clearing(present, faults) {
  const [name, ...words] = present.split(" ");
  const act = {clear: name};
  const options = [...(faults.find((f) => f.name === name)?.options ?? [])];
  for (const word of words) {
    const k = options.findIndex((option) => option.words?.includes(word));
    if (k >= 0) act[options.splice(k, 1)[0].name] = word;
  }
  return act;
}

export class Faults {
  #session; #rows = new Map(); #laid = ""; #present = "";
  constructor(session) {
    this.#session = session;
    $("faults-find").addEventListener("input", () => this.#find());
    session.on("welcome", (welcome) => {
      const laid = JSON.stringify(welcome.faults);
      if (laid === this.#laid) return; // the same run, on a new connection: what is open stays open
      this.#laid = laid;
      this.#present = "";
      this.#rows = new Map(welcome.faults.map((fault) => [fault.name, this.#row(fault)]));
      $("faults-list").replaceChildren(...[...this.#rows.values()]);
      this.#find();
    });
    session.on("state", (state) => this.#state(state));
    session.on("status", ({phase}) => { if (phase !== "open") this.#enable(false); });
  }

  #row(fault) {
    const inputs = fault.options.map((option) => {
      const id = `fault-${fault.name}-${option.name}`;
      const input = option.words
        ? el("select", {id}, ...(option.preset !== null && option.preset !== undefined ? [el("option", {value: ""}, `${option.preset} (preset)`)] : []), ...option.words.map((word) => el("option", {}, word)))
        : el("input", {id, type: "text", autocomplete: "off", value: option.preset ? null : option.example,
                       placeholder: option.preset ? `${option.preset}` : option.example ?? option.unit, title: `allowed: ${option.allowed}`});
      return {name: option.name, input, label: el("label", {class: "field"}, `${plain(option.name)} `, input, option.allowed ? el("small", {}, option.allowed) : null)};
    });
    const form = el("form", {}, el("p", {class: "soft"}, fault.text, fault.clears === false ? "; it stays for good" : ""), ...inputs.map((i) => i.label),
      el("button", {type: "submit", disabled: true}, "Break it"));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const act = {fault: fault.name};
      for (const {name, input} of inputs) if (input.value.trim()) act[name] = input.value.trim();
      this.#session.act(act, `fault ${JSON.stringify(act)}`);
    });
    return el("details", {class: "fault", "data-fault": fault.name, "data-words": `${fault.name} ${plain(fault.name)} ${fault.text}`.toLowerCase()},
      el("summary", {}, plain(fault.name), el("span", {class: "present-note"})), form);
  }

  #find() {
    const words = $("faults-find").value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const row of this.#rows.values()) row.hidden = !words.every((word) => row.dataset.words.includes(word));
  }

  #enable(may) {
    for (const button of $("faults").querySelectorAll("button")) button.disabled = !may;
  }

  #state(state) {
    const {welcome} = this.#session;
    if (!welcome?.live) return;
    const key = JSON.stringify(state.faults);
    if (key !== this.#present) {
      this.#present = key;
      $("faults-present").replaceChildren(...state.faults.map((present) => {
        const fault = welcome.faults.find((f) => f.name === present.split(" ")[0]);
        return el("li", {}, el("span", {}, `present: ${plain(present)}`), fault?.clears === false ? null
          : el("button", {type: "button", "aria-label": `Clear ${plain(present)}`, onclick: () => this.#session.act(clearing(present, welcome.faults), `clear ${present}`)}, "Clear"));
      }));
      for (const [name, row] of this.#rows) {
        const here = state.faults.filter((present) => present.split(" ")[0] === name);
        row.classList.toggle("present", here.length > 0);
        text(row.querySelector(".present-note"), here.length ? ` – present${here.map((p) => p.slice(name.length)).join(",")}` : "");
      }
    }
    this.#enable(this.#session.drives && ["running", "paused"].includes(state.phase));
  }
}
