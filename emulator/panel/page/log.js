// What was done and what happened, newest on top; a click brings the scope there.
import {$, el} from "./dom.js";
import {markWords} from "./marks.js";
import {modelTime} from "./units.js";

const KEPT = 400, NEAR_s = 2e-3;

export class Log {
  #show; #entries = []; #own = [];
  constructor(session, show) {
    this.#show = show;
    session.on("welcome", () => {
      this.#entries = [];
      $("log-body").replaceChildren();
      for (const mark of session.marks) this.#mark(mark);
    });
    session.on("marks", (marks) => marks.forEach((mark) => this.#mark(mark)));
    session.on("done", ({t_s, line, what}) => {
      if (!line) return;
      const name = typeof what === "object" && what ? what.fault ?? what.clear ?? Object.keys(what)[0] : "";
      this.#own.push({name, t_s, line});
      if (this.#own.length > 50) this.#own.shift();
      const told = this.#entries.find((e) => e.mark && Math.abs(e.mark.t_s - t_s) < NEAR_s && e.mark.name.startsWith(name));
      if (told) told.words.textContent = line;
      else this.#add(t_s, line, "action-mark", null);
    });
    session.on("refused", ({what, why}) => this.#add(session.state?.t_s ?? 0, `refused: ${typeof what === "object" && what ? `${JSON.stringify(what)}: ` : ""}${why}`, "refused", null));
  }

  #mark(mark) {
    const own = this.#own.find((o) => Math.abs(o.t_s - mark.t_s) < NEAR_s && mark.name.startsWith(o.name));
    if (own) {
      this.#own.splice(this.#own.indexOf(own), 1);
      const told = this.#entries.find((e) => e.words.textContent === own.line);
      if (told) { told.mark = mark; return; }
    }
    const words = own?.line ?? (["action", "gap"].includes(mark.kind) ? "" : `${mark.kind}: `) + markWords(mark);
    this.#add(mark.t_s, words, `${mark.kind}-mark`, mark);
  }
  #add(t_s, line, kind, mark) {
    const words = el("span", {}, line);
    const row = el("div", {class: `entry ${kind}`}, el("button", {type: "button", title: "Show in the scope", onclick: () => this.#show(t_s)}, modelTime(t_s, 3)), words);
    this.#entries.unshift({row, words, mark});
    $("log-body").prepend(row);
    while (this.#entries.length > KEPT) this.#entries.pop().row.remove();
  }
}
