// The socket of a trial run: sends commands, passes on frames, comes back when it was lost.

/** @import { ManualAction } from "/static/trial/manual_controls.js" */
/** @import { Changes, ChartLayout, ChartRecord, Marks } from "/static/trial/chart.js" */
/** @import { SavedRun } from "/static/trial/records.js" */
/** @import { Demonstration, Reasons, SignalLayout } from "/static/trial/signals.js" */
/** @import { RunState } from "/static/trial/time.js" */

/**
 * What the server sends (server/web/trial/screen.py): only what changed since the frame before. A
 * value is a signal's number in the layout's keys and its value, null where there is none.
 * @typedef {object} Frame
 * @property {number} scan
 * @property {Layout} [layout]
 * @property {ChartRecord} [chart]
 * @property {Changes} [changes]
 * @property {Marks} [marks]
 * @property {number[]} [takeovers]  the scans before which another version took over
 * @property {[number, number | null][]} [values]
 * @property {RunState} [state]
 * @property {Answer[]} [answers]
 */
/**
 * One version of the program: its rungs as text, and as SVG for who only watches, beside what the
 * chart and the table show.
 * @typedef {ChartLayout & SignalLayout & { texts: string[], rungs: string[] | null }} Layout
 */
/** @typedef {{ refused: string }} Refusal */
/**
 * The answer to a command, by server/web/trial/commands.py.
 * @typedef {Refusal | Reasons | Demonstration | { behind: string | null } | { saved: SavedRun[] }
 *   | { scenario: string }} Answer
 */
/**
 * A command to server/web/trial/commands.py, which has what `do` can be.
 * @typedef {object} Command
 * @property {string} do
 * @property {number | null} [scan]
 * @property {number} [speed]
 * @property {ManualAction} [action]
 * @property {string} [signal]
 * @property {string} [name]
 * @property {number} [submission]
 */
/** @typedef {(command: Command) => boolean} Send */
/** @typedef {"open" | "lost" | "restarting" | "ended"} Standing */
/**
 * @typedef {object} Handlers
 * @property {(news: Frame | Refusal) => void} frame
 * @property {(standing: Standing, reason?: string) => void} standing
 */

const FINAL = [1008, 1013];
const RESTARTING = 1012;
const LONGEST_WAIT = 5000;

export class Link {
  #path;
  #handlers;
  /** @type {WebSocket | null} */
  #socket = null;
  #wait = 250;
  // The server said that it restarts; the next tries may fail until it is back.
  #restarting = false;

  /** @param {string} path @param {Handlers} handlers */
  constructor(path, handlers) {
    this.#path = path;
    this.#handlers = handlers;
    this.#open();
  }

  #open() {
    const { frame, standing } = this.#handlers;
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    const socket = new WebSocket(`${scheme}//${location.host}${this.#path}`);
    this.#socket = socket;
    socket.addEventListener("open", () => {
      this.#wait = 250;
      this.#restarting = false;
      standing("open");
    });
    socket.addEventListener("message", (event) => frame(JSON.parse(event.data)));
    socket.addEventListener("close", (event) => {
      if (FINAL.includes(event.code)) return standing("ended", event.reason);
      this.#restarting ||= event.code === RESTARTING;
      standing(this.#restarting ? "restarting" : "lost");
      setTimeout(() => this.#open(), this.#wait);
      this.#wait = Math.min(this.#wait * 2, LONGEST_WAIT);
    });
  }

  /**
   * Send a command. Return false if it is lost.
   * @param {Command} command
   */
  send(command) {
    if (this.#socket?.readyState !== WebSocket.OPEN) return false;
    this.#socket.send(JSON.stringify(command));
    return true;
  }
}
