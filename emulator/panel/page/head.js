// The head: how the run stands, who drives, the connection; Start, Pause, Step, Stop.
import {$, text} from "./dom.js";
import {digits, modelTime} from "./units.js";

const PHASES = {waiting: "waits for Start", running: "running", paused: "paused", ended: "ended"};

export class Head {
  #session; #verdict = null; #until = 0; #status = {phase: "connecting"};
  constructor(session) {
    this.#session = session;
    $("start").addEventListener("click", () => this.start());
    $("pause").addEventListener("click", () => session.run("pause"));
    $("step").addEventListener("click", () => session.run("step"));
    $("stop").addEventListener("click", () => session.run("stop"));
    session.on("welcome", (welcome) => this.#welcome(welcome));
    session.on("state", (state) => this.#state(state));
    session.on("status", (status) => this.#connection(status));
    setInterval(() => this.#countDown(), 500);
    $("token-form").addEventListener("submit", () => {
      session.token = $("token").value;
      $("token").value = "";
    });
    $("token-dialog").addEventListener("cancel", (event) => event.preventDefault());
  }

  start() {
    const phase = this.#session.state?.phase;
    if (!this.#session.drives && this.#session.state?.driver === null) this.#session.seat("take");
    if (phase === "waiting") this.#session.run("start");
    else if (phase === "paused") this.#session.run("resume");
  }

  #welcome(welcome) {
    document.body.classList.toggle("live", welcome.live);
    document.body.classList.toggle("finished", !welcome.live);
    document.title = `${welcome.bench || "Finished runs"} – Stillrotor`;
    text($("bench"), welcome.bench || "Finished runs");
    text($("scenario"), [welcome.scenario, welcome.live ? (welcome.clock === "wall" ? "wall clock" : welcome.paced ? "virtual time at the pace of real time" : "virtual time") : "finished run"].filter(Boolean).join(" · "));
  }
  #state(state) {
    const {welcome} = this.#session, drives = this.#session.drives;
    $("head").dataset.phase = state.phase;
    $("head").classList.toggle("faulty", state.faults.length > 0);
    const speed = state.phase === "running" && Math.abs(state.speed_factor - 1) > 0.02 ? ` × ${digits(state.speed_factor, 2)}` : "";
    text($("phase"), (welcome?.live ? PHASES[state.phase] ?? state.phase : "finished") + speed);
    text($("time"), modelTime(state.t_s, state.phase === "paused" ? 6 : 3)); // a step is shorter than a millisecond
    text($("verdict"), state.verdict ?? (state.phase === "ended" ? "none" : "not yet"));
    $("verdict").className = state.verdict ?? "";
    $("reason").hidden = state.phase !== "ended" || !state.reason || !welcome?.live;
    $("reason").className = state.verdict ?? "";
    text($("reason"), [state.verdict, state.reason].filter(Boolean).join(": "));
    text($("driver"), drives ? "you" : state.driver ? `page ${state.driver}` : "nobody");
    text($("start-text"), state.phase === "paused" ? "Resume" : "Start");
    // With nobody in the driver's seat, Start takes it.
    $("start").disabled = !(drives || state.driver === null) || !["waiting", "paused"].includes(state.phase);
    $("pause").disabled = !drives || !welcome?.can_pause || state.phase !== "running";
    $("step").disabled = !drives || !welcome?.can_pause || state.phase !== "paused";
    $("pause").hidden = $("step").hidden = !welcome?.can_pause;
    $("stop").disabled = state.phase === "ended";
    $("start").title = drives || state.driver === null ? "" : "The driver starts";
    $("problem").hidden = !state.problem;
    text($("problem"), state.problem ?? "");
    if (state.verdict !== this.#verdict) {
      this.#verdict = state.verdict;
      if (state.verdict) text($("announce"), `Verdict: ${state.verdict}. ${state.reason ?? ""}`);
    }
    if (this.#status.phase === "open") text($("connection"), `open, ${state.clients} ${state.clients === 1 ? "page" : "pages"}`);
  }
  #connection(status) {
    this.#status = status;
    document.body.classList.toggle("lost", status.phase !== "open");
    if (status.phase === "waiting") this.#until = performance.now() + status.retry_ms;
    if (status.phase !== "open") for (const id of ["start", "pause", "step", "stop"]) $(id).disabled = true;
    if (status.phase === "token") {
      if (status.why) text($("token-why"), `${status.why[0].toUpperCase()}${status.why.slice(1)}. It stands on the terminal where the program was started, or in its token file.`);
      if (!$("token-dialog").open) $("token-dialog").showModal();
    } else if ($("token-dialog").open) {
      $("token-dialog").close();
    }
    text($("connection"), {connecting: "connecting …", open: "open", token: "needs a token", over: status.why, waiting: "lost"}[status.phase]);
    this.#countDown();
    if (status.phase === "waiting" && this.#session.welcome) text($("announce"), "The connection is lost; trying again.");
    $("connection").className = status.phase === "open" ? "" : "bad";
  }
  #countDown() {
    if (this.#status.phase !== "waiting") return;
    const left = Math.max(0, Math.ceil((this.#until - performance.now()) / 1000));
    text($("connection"), `lost, again in ${left} s${this.#status.why ? `: ${this.#status.why}` : ""}`);
  }
}
