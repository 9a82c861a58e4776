// Finished runs: which one is shown.
import {$, el} from "./dom.js";

export class Runs {
  constructor(session) {
    session.on("welcome", (welcome) => {
      $("runs").hidden = welcome.live || !welcome.runs?.length;
      $("whole").hidden = welcome.live;
      if (welcome.live || !welcome.runs?.length) return;
      const find = el("input", {type: "search", placeholder: "bench, scenario, verdict …", autocomplete: "off", "aria-label": "Find a run"});
      const rows = welcome.runs.map((run) => el("tr", {"data-words": Object.values(run).join(" ").toLowerCase()},
        el("td", {}, el("button", {type: "button", "aria-label": `Open ${run.name}`, onclick: () => session.openRun(run.name)}, "Open")),
        el("td", {class: run.verdict ?? ""}, run.verdict ?? "unfinished"), el("td", {}, run.bench ?? ""), el("td", {}, run.scenario ?? ""), el("td", {}, run.started ?? "")));
      find.addEventListener("input", () => {
        const words = find.value.toLowerCase().split(/\s+/).filter(Boolean);
        for (const row of rows) row.hidden = !words.every((word) => row.dataset.words.includes(word));
      });
      const open = $("runs").querySelector("details")?.open ?? !welcome.bench;
      $("runs-body").replaceChildren(
        el("p", {class: "bar"}, el("a", {id: "run-report", class: "button", href: `/runs/${encodeURIComponent(welcome.run ?? "")}/report.html`, target: "_blank", rel: "noopener", hidden: true}, "Report of this run"), el("span", {id: "run-reason", class: "soft"})),
        el("details", {open}, el("summary", {}, `Another run (${welcome.runs.length})`), find, el("div", {class: "wide"}, el("table", {},
          el("thead", {}, el("tr", {}, ...["", "Verdict", "Bench", "Scenario", "Started"].map((n) => el("th", {scope: "col"}, n)))), el("tbody", {}, ...rows)))));
    });
    session.on("state", (state) => {
      const link = $("run-report");
      if (!link) return;
      link.hidden = !state.report || !session.welcome.run;
      $("run-reason").textContent = state.reason ?? "";
    });
  }
}
