// The table of signals, and the answer to 'why?'.

import { byId } from "/static/dom.js";
import { formatValue } from "/static/trial/rungs.js";
import { formatTime } from "/static/trial/time.js";
/** @import { Values } from "/static/trial/plant.js" */

/**
 * The signals by number, those of truth first, and the symbol of each address.
 * @typedef {{ keys: string[], bools: number, symbols: Record<string, string> }} SignalLayout
 */
/**
 * One cause: the scan after which it was seen, and the element if a rung has it.
 * @typedef {object} Reason
 * @property {string} text
 * @property {number} scan
 * @property {number | null} rung
 * @property {string | null} path
 * @property {boolean} decisive
 */
/**
 * Why a signal had its value after a scan.
 * @typedef {{ why: string, scan: number, reasons: Reason[] }} Reasons
 */

/**
 * A run that breaks a requirement at a scan, and what was done in it until then.
 * @typedef {{ seen: string, at: number, actions: { scan: number, text: string }[] }} Demonstration
 */

const rows = byId("signal-rows", HTMLElement);
const why = byId("why", HTMLElement);
/** @type {Map<string, HTMLElement>} */
let cells = new Map();
/** @type {Set<string>} */
let bools = new Set();

/**
 * List the signals of a version of the program, those with an address first.
 * @param {SignalLayout} layout
 * @param {((signal: string) => void) | null} ask
 */
export function laySignals({ keys, bools: count, symbols }, ask) {
  cells = new Map();
  bools = new Set(keys.slice(0, count));
  const address = new Map(Object.entries(symbols).map(([place, symbol]) => [symbol, place]));
  const own = keys.filter((key) => key.startsWith("v:") && key !== "v:fault").map((key) => key.slice(2));
  own.sort((a, b) => Number(address.has(b)) - Number(address.has(a)) || (address.get(a) ?? a).localeCompare(address.get(b) ?? b));
  rows.replaceChildren(
    ...own.map((name) => {
      const row = document.createElement("tr");
      const head = Object.assign(document.createElement("th"), { scope: "row" });
      head.append(Object.assign(document.createElement("code"), { textContent: name }));
      const place = address.get(name);
      if (place) head.append(" ", Object.assign(document.createElement("span"), { className: "under", textContent: place }));
      const value = document.createElement("td");
      row.append(head, value);
      cells.set(`v:${name}`, value);
      if (ask) {
        const question = button("Why?", () => ask(canonical(name)));
        question.setAttribute("aria-label", `Why is ${name} so?`);
        const cell = document.createElement("td");
        cell.append(question);
        row.append(cell);
      }
      return row;
    }),
  );
}

/** @param {string} name */
const canonical = (name) => {
  const [symbol, pin] = name.split(".");
  return pin ? `${symbol}.${pin.toUpperCase()}` : symbol;
};

/** @param {string[]} changed @param {Values} values */
export function showSignals(changed, values) {
  for (const key of changed) {
    const cell = cells.get(key);
    if (cell) cell.textContent = bools.has(key) ? (values.get(key) ? "ON" : "OFF") : formatValue(key, values.get(key));
  }
}

/**
 * Show the chain of causes; each step leads to its rung and to its moment.
 * @param {Reasons} answer
 * @param {number} period  ms from scan to scan
 * @param {(scan: number) => void} look
 * @param {(rung: number, path: string | null) => void} go  shows an element
 */
export function showReasons({ why: signal, scan, reasons }, period, look, go) {
  const head = Object.assign(document.createElement("h2"), { textContent: `Why is ${signal} so at ${formatTime(scan, period)}?` });
  const list = document.createElement("ol");
  for (const reason of reasons) {
    const item = document.createElement("li");
    if (reason.decisive) item.className = "decisive";
    item.append(reason.text, " ");
    const { rung, path } = reason;
    if (rung !== null) item.append(button(`Rung ${rung + 1}`, () => go(rung, path)), " ");
    item.append(button(`Look at ${formatTime(reason.scan - 1, period)}`, () => look(reason.scan)));
    list.append(item);
  }
  why.replaceChildren(head, list, button("Close", () => (why.hidden = true)));
  why.hidden = false;
  why.focus({ preventScroll: true });
}

/**
 * Tell what a run is about to show; the run stands shortly before.
 * @param {Demonstration} answer
 * @param {number} period  ms from scan to scan
 */
export function showDemonstration({ seen, at, actions }, period) {
  const head = Object.assign(document.createElement("h2"), { textContent: `${seen} is violated at ${formatTime(at, period)}` });
  const words = Object.assign(document.createElement("p"), { textContent: "The server found this run of your program by itself. Run it from here, in slow motion if you like." });
  const list = document.createElement("ul");
  list.replaceChildren(...actions.map(({ scan, text }) => Object.assign(document.createElement("li"), { textContent: `${formatTime(scan, period)} ${text}` })));
  why.replaceChildren(head, words, list, button("Close", () => (why.hidden = true)));
  why.hidden = false;
}

/** @param {string} text @param {() => void} act */
function button(text, act) {
  const made = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: text });
  made.addEventListener("click", act);
  return made;
}
