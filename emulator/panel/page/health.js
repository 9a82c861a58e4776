// Is what is seen to be trusted: integrity of the record, lateness, budgets, and the panel's own losses.
import {$, el} from "./dom.js";

export class Health {
  #last = "";
  constructor(session) {
    session.on("welcome", () => { this.#last = ""; });
    session.on("state", (state) => {
      const {welcome} = session;
      const key = JSON.stringify([state.integrity, state.lateness_us, state.missed_frames, state.not_seen]);
      if (!welcome || key === this.#last) return;
      this.#last = key;
      const i = state.integrity ?? {};
      const count = (words, value) => [words, String(value ?? "–"), (value ?? 0) > 0];
      const tables = [this.#table("Integrity of the record", [count("deadline misses", i.deadline_misses), count("lost edges", i.lost_edges),
        count("late writes", i.late_writes), count("gaps", i.gaps)])];
      if (state.lateness_us) {
        const l = state.lateness_us;
        tables.push(this.#table("Lateness of the cycle", [["median", `${l.p50} µs`], ["99 %", `${l.p99} µs`], ["99.9 %", `${l.p999} µs`], ["most", `${l.max} µs`]]));
      }
      if (welcome.live) tables.push(this.#table("This page", [["pictures left out, page too slow", String(state.missed_frames ?? 0)], count("not seen by the panel (recorded)", state.not_seen)]));
      const nodes = [el("div", {class: "lists"}, ...tables)];
      if (welcome.budgets?.length) {
        nodes.push(el("h3", {}, "Budgets"), el("div", {class: "wide"}, el("table", {},
          el("thead", {}, el("tr", {}, ...["Signal", "asked", "limit", ""].map((n) => el("th", {scope: "col"}, n)))),
          el("tbody", {}, ...welcome.budgets.map((b) => el("tr", {title: b.text}, el("th", {scope: "row"}, b.signal), el("td", {}, b.demand), el("td", {}, b.limit),
            el("td", {class: b.fits ? "" : "bad"}, b.fits ? "fits" : "over")))))));
      }
      $("health-body").replaceChildren(...nodes);
    });
  }
  #table(title, rows) {
    return el("table", {}, el("caption", {class: "soft"}, title),
      el("tbody", {}, ...rows.map(([words, value, bad]) => el("tr", {}, el("th", {scope: "row"}, words), el("td", {class: bad ? "number bad" : "number"}, value)))));
  }
}
