// The table of signals, and the answer to 'why?'.

import { byId } from "/static/dom.js";
import { formatValue, markFaulty } from "/static/trial/rungs.js";
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
 * A place in the program, in words, by its rung and the path or number within.
 * @typedef {{ text: string, rung: number | null, path: string | null, output: number | null }} PlaceInProgram
 */
/**
 * A run that breaks a requirement at a scan, what was done in it until then, why it came to that,
 * and where in the program the causes end.
 * @typedef {object} Demonstration
 * @property {string} seen
 * @property {number} at
 * @property {{ scan: number, text: string }[]} actions
 * @property {Reason[]} reasons
 * @property {PlaceInProgram | null} faulty
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
  why.replaceChildren(head, listOf(reasons, period, look, go), button("Close", close));
  why.hidden = false;
  why.focus({ preventScroll: true });
}

/** @param {Reason[]} reasons @param {number} period @param {(scan: number) => void} look @param {(rung: number, path: string | null) => void} go */
function listOf(reasons, period, look, go) {
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
  return list;
}

/* What is marked in the rungs belongs to the text that is closed. */
function close() {
  why.hidden = true;
  markFaulty(null);
}

/**
 * Tell what a run is about to show; the run stands shortly before. The place where its causes end
 * is marked in the rungs.
 * @param {Demonstration} answer
 * @param {number} period  ms from scan to scan
 * @param {(scan: number) => void} look
 * @param {(rung: number, path: string | null) => void} go  shows an element
 */
export function showDemonstration({ seen, at, actions, reasons, faulty }, period, look, go) {
  const head = Object.assign(document.createElement("h2"), { textContent: `${seen} is violated at ${formatTime(at, period)}` });
  const words = Object.assign(document.createElement("p"), { textContent: "The server found this run of your program by itself. Run it from here, in slow motion if you like." });
  const list = document.createElement("ul");
  list.replaceChildren(...actions.map(({ scan, text }) => Object.assign(document.createElement("li"), { textContent: `${formatTime(scan, period)} ${text}` })));
  const causes = document.createElement("details");
  causes.append(Object.assign(document.createElement("summary"), { textContent: `Why it comes to that` }), listOf(reasons, period, look, go));
  const end = document.createElement("p");
  if (faulty) {
    const { rung, path, text } = faulty;
    end.append(Object.assign(document.createElement("strong"), { textContent: `The causes end at ${text}.` }), " ");
    if (rung !== null) end.append(button("Show it", () => go(rung, path)), " It is marked in the rungs.");
  }
  why.replaceChildren(head, words, list, end, causes, button("Close", close));
  why.hidden = false;
  markFaulty(faulty);
}

/** @param {string} text @param {() => void} act */
function button(text, act) {
  const made = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: text });
  made.addEventListener("click", act);
  return made;
}
