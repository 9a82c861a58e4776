// Listening to a signal: its raw samples played as they come.
import {$, el, text} from "./dom.js";

const CANDIDATES = ["torque_mean", "torque", "phase_current.U", "phase_current.V", "phase_current.W", "bus_current_mean", "bus_voltage"];
const AHEAD_s = 0.2, MOST_AHEAD_s = 0.8;
const LOWEST_Hz = 20;

/// Takes out what does not change, and scales to what was loudest lately. Keeps its state from block to block.
export class Conditioner {
  #before_in = null; #before_out = 0; #loudest = 0;
  constructor(rate_Hz) {
    this.keep = Math.exp((-2 * Math.PI * LOWEST_Hz) / rate_Hz);
    this.fade = Math.exp(-1 / (3 * rate_Hz)); // three seconds
  }
  /// Float32Array of -1 to 1 (nearly: 0.7 of it is used).
  block(samples) {
    const out = new Float32Array(samples.length);
    for (let k = 0; k < samples.length; ++k) {
      const x = Number.isNaN(samples[k]) ? this.#before_in ?? 0 : samples[k];
      const y = this.keep * (this.#before_out + x - (this.#before_in ?? x));
      this.#before_in = x;
      this.#before_out = y;
      this.#loudest = Math.max(Math.abs(y), this.#loudest * this.fade);
      out[k] = this.#loudest > 1e-9 ? (0.7 * y) / this.#loudest : 0;
    }
    return out;
  }
  get loudest() { return this.#loudest; }
}

export class Sound {
  #session; #view; #context = null; #gain = null; #next_s = 0; #expected_s = null; #conditioner = null; #gaps = 0;
  constructor(session, view) {
    this.#session = session;
    this.#view = view;
    $("sound-on").addEventListener("click", () => (this.#context ? this.off() : this.on()));
    $("sound-of").addEventListener("change", () => { if (this.#context) this.#ask(); });
    $("sound-volume").addEventListener("input", () => this.#volume());
    session.on("welcome", (welcome) => {
      const before = $("sound-of").value;
      const names = CANDIDATES.filter((name) => welcome.signals.some((s) => s.name === name));
      $("sound-of").replaceChildren(...names.map((name) => el("option", {}, name)));
      if (names.includes(before)) $("sound-of").value = before;
      $("sound").hidden = names.length === 0;
    });
    session.on(`frame:${view}`, (frame) => this.#play(frame));
    session.on("state", (state) => { if (this.#context && state.phase !== "running") text($("sound-text"), "Nothing to hear: the run does not move."); });
  }

  on() {
    const rate = this.#session.welcome?.rate_Hz;
    try {
      // At the record's own rate blocks follow one another without a seam.
      this.#context = new AudioContext({sampleRate: rate});
    } catch {
      return text($("sound-text"), `This browser cannot play ${rate} samples a second.`);
    }
    this.#gain = this.#context.createGain();
    this.#gain.connect(this.#context.destination);
    this.#volume();
    this.#gaps = 0;
    this.#next_s = 0;
    $("sound-on").setAttribute("aria-pressed", "true");
    $("sound-on").textContent = "Stop listening";
    this.#ask();
  }
  off() {
    this.#session.view(this.#view, null);
    this.#context?.close();
    this.#context = null;
    $("sound-on").setAttribute("aria-pressed", "false");
    $("sound-on").textContent = "Listen";
    $("sound-level").value = 0;
    text($("sound-text"), "Off.");
  }

  #ask() {
    this.#conditioner = new Conditioner(this.#session.welcome.rate_Hz);
    this.#expected_s = null;
    this.#session.view(this.#view, {kind: "stream", signals: [$("sound-of").value]});
    text($("sound-text"), `Waiting for samples of ${$("sound-of").value}.`);
  }
  #volume() {
    // Ears hear ratios: the slider's square.
    if (this.#gain) this.#gain.gain.value = (Number($("sound-volume").value) / 100) ** 2;
  }
  #play(frame) {
    if (!this.#context || frame.columns === 0 || frame.signals.length !== 1) return;
    const {welcome, state} = this.#session, now = this.#context.currentTime;
    if (this.#expected_s !== null && Math.abs(frame.from_s - this.#expected_s) > 1.5 * frame.step_s) ++this.#gaps;
    this.#expected_s = frame.from_s + frame.columns * frame.step_s;
    const samples = this.#conditioner.block(frame.signals[0].values);
    let square = 0;
    for (const y of samples) square += y * y;
    $("sound-level").value = Math.min(1, 2 * Math.sqrt(square / samples.length));
    if (this.#next_s < now + 0.02) { // ran dry
      if (this.#next_s > 0) ++this.#gaps;
      this.#next_s = now + AHEAD_s;
    } else if (this.#next_s > now + MOST_AHEAD_s) {
      ++this.#gaps;
      return; // faster than real time: what is too much is not heard
    }
    const buffer = this.#context.createBuffer(1, samples.length, welcome.rate_Hz);
    buffer.copyToChannel(samples, 0);
    const source = this.#context.createBufferSource();
    source.buffer = buffer;
    source.connect(this.#gain);
    source.start(this.#next_s);
    this.#next_s += samples.length / welcome.rate_Hz;
    const name = $("sound-of").value, signal = this.#session.signal(name);
    text($("sound-text"), `Plays ${name} (${signal.text}) without its mean, ${welcome.rate_Hz} samples a second, scaled to the loudest of the last seconds.${
      Math.abs((state?.speed_factor ?? 1) - 1) > 0.05 ? " The run does not keep the pace of real time: the sound has holes." : this.#gaps ? ` Holes so far: ${this.#gaps}.` : ""}`);
  }
}
