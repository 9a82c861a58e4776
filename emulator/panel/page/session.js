// What the page knows of the run: welcome, state, marks; what it has asked for; who wants to hear of it.
import {Connection} from "./connection.js";
import {decodeFrame} from "./frames.js";
import {Outbox} from "./outbox.js";

const MARKS_KEPT = 2000;

/// Events (detail): status, welcome, state, marks (the new ones), look, frame:ID, armed, caught, done, refused.
export class Session extends EventTarget {
  #connection; #outbox; #asked = new Map(); #ask = 0; #views = new Map(); #trigger = null; #run = null;
  welcome = null;
  state = null;
  marks = [];
  end_s = null;

  constructor(url) {
    super();
    this.#connection = new Connection(url, {
      onStatus: (status) => {
        this.connected = status.phase === "open";
        if (!this.connected) {
          this.#outbox.clear();
          this.connectedBefore = false;
          this.#giveUp("the connection broke before an answer came");
        }
        this.#tell("status", status);
      },
      onMessage: (message) => this.#take(message),
      onFrame: (buffer) => {
        const frame = decodeFrame(buffer);
        this.#tell(`frame:${frame.view}`, frame);
      },
    });
    this.#outbox = new Outbox((message) => this.#connection.send(message));
    this.connected = false;
  }

  open() { this.#connection.open(); }
  get token() { return this.#connection.token; }
  set token(text) { this.#connection.token = text; }
  on(type, listener) { this.addEventListener(type, (event) => listener(event.detail)); }

  signal(name) { return this.welcome?.signals.find((s) => s.name === name); }
  get drives() { return this.state?.you === "driver"; }

  /// A view is asked for anew after a lost connection. null: off.
  view(id, wanted) {
    const message = wanted ? {view: {id, ...wanted}} : {view: {id, kind: "off"}};
    if (wanted) this.#views.set(id, message);
    else this.#views.delete(id);
    this.#outbox.post(`view ${id}`, message, 150);
  }
  trigger(wanted) {
    this.#trigger = wanted.on === "off" ? null : {trigger: wanted};
    this.#outbox.post("trigger", {trigger: wanted});
  }
  /// Where the scope stands still; null: it follows the present. Tells "look".
  look(end_s) {
    if (end_s === this.end_s) return;
    this.end_s = end_s;
    this.#tell("look", end_s);
  }
  /// The seat: "take" or "release".
  seat(what) { this.#outbox.post("drive", {drive: what}); }
  openRun(name) {
    this.#run = name;
    this.#outbox.post("open", {open: name});
    this.#views.clear();
    this.#trigger = null;
  }
  /// Stop does not wait in a row behind anything.
  run(what) {
    const message = this.#numbered({run: what}, `run ${what}`);
    if (what === "stop") this.#connection.send(message);
    else this.#outbox.post("run", message);
  }
  /// One action in a scenario's words; control: what later values of it replace.
  act(action, control) { this.#outbox.post(`act ${control}`, this.#numbered({act: action}, action), 100); }

  #numbered(message, what) {
    const ask = ++this.#ask;
    this.#asked.set(ask, what);
    if (this.#asked.size > 200) this.#asked.delete(this.#asked.keys().next().value); // replaced before they left
    return {...message, ask};
  }
  #giveUp(why) {
    for (const what of this.#asked.values()) {
      if (typeof what === "string") this.#tell("refused", {what, why});
    }
    this.#asked.clear();
  }

  #take(message) {
    if (message.welcome) {
      // After a lost connection: back to the run that was open.
      if (!message.welcome.live && this.#run && !this.connectedBefore) this.#outbox.post("open", {open: this.#run});
      this.connectedBefore = true;
      this.welcome = message.welcome;
      this.marks = message.welcome.marks ?? [];
      this.#tell("welcome", message.welcome);
      for (const [id, view] of this.#views) this.#outbox.post(`view ${id}`, view, 150);
      if (this.#trigger) this.#outbox.post("trigger", this.#trigger);
    } else if (message.state) {
      this.state = message.state;
      this.#tell("state", message.state);
    } else if (message.marks) {
      this.marks.push(...message.marks);
      if (this.marks.length > MARKS_KEPT) this.marks.splice(0, this.marks.length - MARKS_KEPT);
      this.#tell("marks", message.marks);
    } else if (message.done || message.refused) {
      const answer = message.done ?? message.refused;
      const what = this.#asked.get(answer.ask);
      this.#asked.delete(answer.ask);
      this.#tell(message.done ? "done" : "refused", {...answer, what});
    } else if (message.caught) {
      this.#tell("caught", message.caught);
    } else if ("armed" in message) {
      this.#tell("armed", message.armed);
    }
  }
  #tell(type, detail) { this.dispatchEvent(new CustomEvent(type, {detail})); }
}
