// The page's door: carries messages between the bench and the server over one websocket.
// It gives the bench a model with the two calls of a notebook's: send and on.
import bench from "/bench.js";

const WAIT_MS = [300, 700, 1500, 3000, 5000];
const REFUSED = { 4401: "wrong_key", 4429: "too_many_benches", 1013: "too_many" };

function fromHash() {
  const given = new URLSearchParams(location.hash.slice(1));
  const text = given.get("scene");
  return { key: given.get("key") || "", text: text ? decoded(text) : null };
}

function decoded(base64url) {
  try {
    const binary = atob(base64url.replace(/-/g, "+").replace(/_/g, "/"));
    return new TextDecoder().decode(Uint8Array.from(binary, (c) => c.charCodeAt(0)));
  } catch {
    return null;
  }
}

class SocketModel {
  constructor() {
    this.listeners = {};
    this.begin = fromHash();
    this.own = false;
    this.tries = 0;
    this.strings = fetch("/strings.json").then((answer) => answer.json()).catch(() => ({}));
    this.connect();
  }

  on(event, listener) {
    (this.listeners[event] ||= []).push(listener);
  }

  emit(event, ...details) {
    for (const listener of this.listeners[event] || []) listener(...details);
  }

  connect() {
    this.socket = new WebSocket(`ws://${location.host}/bench`);
    this.socket.binaryType = "arraybuffer";
    this.socket.onopen = () => this.emit("open", this.begin.text);
    this.socket.onmessage = (event) => this.receive(event.data);
    this.socket.onclose = (event) => this.lost(event.code);
  }

  lost(code) {
    const refused = REFUSED[code];
    this.strings.then((strings) => this.emit("lost", strings[refused || "lost"] || ""));
    if (refused === "wrong_key") return;
    setTimeout(() => this.connect(), WAIT_MS[Math.min(this.tries++, WAIT_MS.length - 1)]);
  }

  send(message) {
    if (this.socket.readyState !== WebSocket.OPEN) return;
    const who = message.kind === "hello" ? { key: this.begin.key, own: this.own } : {};
    this.socket.send(JSON.stringify({ ...message, ...who }));
  }

  receive(data) {
    this.tries = 0;
    const view = new DataView(data);
    const length = view.getUint32(0, true);
    const head = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 4, length)));
    let offset = 4 + length;
    const buffers = head.buffers.map((size) => {
      offset += size;
      return new DataView(data, offset - size, size);
    });
    this.emit("msg:custom", head, buffers);
  }

  askForOwnBench() {
    this.own = true;
    this.socket.close();
  }
}

bench.render({ model: new SocketModel(), el: document.getElementById("bench") });
