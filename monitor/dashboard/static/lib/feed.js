// The live feed: one WebSocket that comes back by itself, and the age of the newest picture.

const FIRST_PAUSE_MS = 250;
const LONGEST_PAUSE_MS = 4000;
const MUTE_MS = 5000; // the program beats once a second; longer silence means that the line is dead

export class Feed {
  /** @param {(message: object) => void} onMessage  @param {(connected: boolean) => void} onLine */
  constructor(onMessage, onLine) {
    this.onMessage = onMessage;
    this.onLine = onLine;
    this.connected = false;
    this.pictureAt_ms = null; // when the newest picture was new, in this page's own clock
    this.number = 0;
    this.pause_ms = FIRST_PAUSE_MS;
    this.heard_ms = performance.now();
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden && !this.connected) this.open();
    });
    setInterval(() => this.watch(), 1000);
    this.open();
  }

  /** Seconds since the newest picture was new; null before the first. */
  age_s(now_ms = performance.now()) {
    return this.pictureAt_ms === null ? null : (now_ms - this.pictureAt_ms) / 1000;
  }

  open() {
    clearTimeout(this.retry);
    this.socket?.close();
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    const socket = new WebSocket(`${scheme}//${location.host}/api/feed`);
    this.socket = socket;
    this.heard_ms = performance.now();
    socket.onopen = () => {
      this.pause_ms = FIRST_PAUSE_MS;
      this.number = 0; // a restarted program counts anew
      this.setConnected(true);
    };
    socket.onmessage = (event) => {
      if (this.socket !== socket) return;
      this.heard_ms = performance.now();
      this.take(JSON.parse(event.data));
    };
    socket.onclose = () => {
      if (this.socket !== socket) return;
      this.setConnected(false);
      this.retry = setTimeout(() => this.open(), this.pause_ms * (0.75 + Math.random() / 2));
      this.pause_ms = Math.min(LONGEST_PAUSE_MS, this.pause_ms * 2);
    };
  }

  watch() {
    if (this.connected && performance.now() - this.heard_ms > MUTE_MS) {
      this.setConnected(false);
      this.open();
    }
  }

  take(message) {
    if (message.age_s !== undefined && message.age_s !== null && message.number !== this.number) {
      this.number = message.number;
      this.pictureAt_ms = performance.now() - message.age_s * 1000;
    }
    this.onMessage(message);
  }

  setConnected(connected) {
    if (this.connected === connected) return;
    this.connected = connected;
    this.onLine(connected);
  }
}
