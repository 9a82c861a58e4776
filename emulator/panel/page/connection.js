// The socket to the program. Comes back by itself; says how it stands.

/// Waiting time before attempt n (0, 1, ...): doubling to 8 s, a quarter of it by chance.
export const backOff_ms = (attempt, chance = Math.random()) => Math.min(8000, 500 * 2 ** attempt) * (0.75 + 0.5 * chance);

const WHY = {
  4001: "the token is missing or wrong",
  4003: "this page speaks another version of the messages: load it anew",
  4004: "this page is open a second time, which has taken its place: load this one anew",
  1008: "this page sent too much at once",
  1013: "too many pages are connected",
};

/// Calls onStatus({phase: "connecting"|"open"|"waiting"|"token"|"over", why, retry_ms}), onMessage(object),
/// onFrame(ArrayBuffer).
export class Connection {
  #url; #on; #socket = null; #attempt = 0; #timer = null; #token = "";
  constructor(url, on) {
    this.#url = url;
    this.#on = on;
    addEventListener("online", () => this.#hurry());
    document.addEventListener("visibilitychange", () => { if (!document.hidden) this.#hurry(); });
  }

  get token() { return this.#token; }
  set token(text) {
    this.#token = text;
    this.open();
  }

  open() {
    clearTimeout(this.#timer);
    this.#timer = null;
    this.#on.onStatus({phase: "connecting"});
    const socket = new WebSocket(this.#url);
    socket.binaryType = "arraybuffer";
    this.#socket = socket;
    socket.onopen = () => {
      const hello = {protocol: 1};
      if (this.#token) hello.token = this.#token;
      const client = sessionStorage.getItem("stillrotor.client");
      if (client) hello.client = client;
      this.send({hello});
    };
    socket.onmessage = ({data}) => {
      if (typeof data !== "string") return this.#on.onFrame(data);
      const message = JSON.parse(data);
      if (message.welcome) {
        this.#attempt = 0;
        sessionStorage.setItem("stillrotor.client", message.welcome.client);
        this.#on.onStatus({phase: "open"});
      }
      this.#on.onMessage(message);
    };
    socket.onclose = (event) => {
      if (this.#socket !== socket) return;
      this.#socket = null;
      const why = WHY[event.code] ?? event.reason ?? "";
      if (event.code === 4001) return this.#on.onStatus({phase: "token", why: this.#token ? "the token was not accepted" : ""});
      if (event.code === 4003 || event.code === 4004) return this.#on.onStatus({phase: "over", why});
      const retry_ms = backOff_ms(this.#attempt++);
      this.#on.onStatus({phase: "waiting", why, retry_ms});
      this.#timer = setTimeout(() => this.open(), retry_ms);
    };
  }

  /// False: not connected, nothing was sent.
  send(message) {
    if (this.#socket?.readyState !== WebSocket.OPEN) return false;
    this.#socket.send(JSON.stringify(message));
    return true;
  }

  #hurry() {
    if (this.#timer !== null) {
      this.#attempt = 0;
      this.open();
    }
  }
}
