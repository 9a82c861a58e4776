// What leaves for the program, not too often: the last value of each control wins.

/// Sends at most one message of a key in its `apart_ms`, and no more than `perSecond` of all together,
/// well below what the program takes before it closes the connection.
export class Outbox {
  #send; #now; #later; #waiting = new Map(); #next = new Map(); #timer = null; #sent = [];
  constructor(send, {now = () => performance.now(), later = (f, ms) => setTimeout(f, ms), perSecond = 18} = {}) {
    this.#send = send;
    this.#now = now;
    this.#later = later;
    this.perSecond = perSecond;
  }

  /// key: what may replace one another while waiting. apart_ms 0: only the common limit.
  post(key, message, apart_ms = 0) {
    this.#waiting.delete(key); // to the end of the row, behind what waits longer
    this.#waiting.set(key, {message, apart_ms});
    this.#flush();
  }

  /// Forgets what waits: the connection is gone.
  clear() { this.#waiting.clear(); }

  #flush() {
    if (this.#timer !== null) return;
    const now = this.#now();
    this.#sent = this.#sent.filter((t) => t > now - 1000);
    let wait = Infinity;
    for (const [key, {message, apart_ms}] of this.#waiting) {
      const due = Math.max(this.#next.get(key) ?? 0,
                           this.#sent.length >= this.perSecond ? this.#sent[0] + 1000 : 0);
      if (due > now) {
        wait = Math.min(wait, due - now);
        continue;
      }
      this.#waiting.delete(key);
      this.#next.set(key, now + apart_ms);
      this.#sent.push(now);
      this.#send(message);
    }
    if (wait < Infinity) {
      this.#timer = this.#later(() => { this.#timer = null; this.#flush(); }, Math.ceil(wait));
    }
  }
}
