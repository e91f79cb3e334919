// The socket of a trial run: sends commands, hands out frames, comes back when it was lost.

const FINAL = [1008, 1013];
const RESTARTING = 1012;
const LONGEST_WAIT = 5000;

export class Link {
  #socket = null;
  // What is asked for while the page still opens its first socket; null from then on.
  #early = [];
  #wait = 250;
  // Told by the server that went; the next tries may fail until it is back.
  #restarting = false;

  constructor(path, { frame, standing }) {
    this.#open = () => {
      const scheme = location.protocol === "https:" ? "wss:" : "ws:";
      const socket = new WebSocket(`${scheme}//${location.host}${path}`);
      this.#socket = socket;
      socket.addEventListener("open", () => {
        this.#wait = 250;
        this.#restarting = false;
        for (const command of this.#early ?? []) socket.send(JSON.stringify(command));
        this.#early = null;
        standing("open");
      });
      socket.addEventListener("message", (event) => frame(JSON.parse(event.data)));
      socket.addEventListener("close", (event) => {
        if (FINAL.includes(event.code)) return standing("ended", event.reason);
        this.#restarting ||= event.code === RESTARTING;
        standing(this.#restarting ? "restarting" : "lost");
        setTimeout(this.#open, this.#wait);
        this.#wait = Math.min(this.#wait * 2, LONGEST_WAIT);
      });
    };
    this.#open();
  }

  #open;

  send(command) {
    if (this.#socket.readyState !== WebSocket.OPEN) {
      this.#early?.push(command);
      return this.#early !== null;
    }
    this.#socket.send(JSON.stringify(command));
    return true;
  }
}
