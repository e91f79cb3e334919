// The table of signals, and the answer to 'why?'.

import { leadTo, spell } from "./rungs.js";

const rows = document.getElementById("signal-rows");
const why = document.getElementById("why");
let cells = new Map();
let bools = new Set();

export function laySignals({ keys, bools: count, symbols }, ask) {
  cells = new Map();
  bools = new Set(keys.slice(0, count));
  const address = new Map(Object.entries(symbols).map(([place, symbol]) => [symbol, place]));
  const own = keys.filter((key) => key.startsWith("v:") && key !== "v:fault").map((key) => key.slice(2));
  own.sort((a, b) => (address.has(b) - address.has(a)) || (address.get(a) ?? a).localeCompare(address.get(b) ?? b));
  rows.replaceChildren(
    ...own.map((name) => {
      const row = document.createElement("tr");
      const head = Object.assign(document.createElement("th"), { scope: "row" });
      head.append(Object.assign(document.createElement("code"), { textContent: name }));
      if (address.has(name)) head.append(" ", Object.assign(document.createElement("span"), { className: "under", textContent: address.get(name) }));
      const value = document.createElement("td");
      row.append(head, value);
      cells.set(`v:${name}`, value);
      if (ask) {
        const button = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: "Why?" });
        button.setAttribute("aria-label", `Why is ${name} so?`);
        button.addEventListener("click", () => ask(canonical(name)));
        const cell = document.createElement("td");
        cell.append(button);
        row.append(cell);
      }
      return row;
    }),
  );
}

const canonical = (name) => {
  const [symbol, pin] = name.split(".");
  return pin ? `${symbol}.${pin.toUpperCase()}` : symbol;
};

export function showSignals(changed, values) {
  for (const key of changed) {
    const cell = cells.get(key);
    if (cell) cell.textContent = bools.has(key) ? (values.get(key) ? "ON" : "OFF") : spell(key, values.get(key));
  }
}

// The chain of causes; each step leads to its rung and to its moment.
export function showReasons({ why: signal, scan, reasons }, period, look) {
  const told = (moment) => `${((moment * period) / 1000).toFixed(2)} s`;
  const head = Object.assign(document.createElement("h3"), { textContent: `Why is ${signal} so at ${told(scan)}?` });
  const list = document.createElement("ol");
  for (const reason of reasons) {
    const item = document.createElement("li");
    if (reason.decisive) item.className = "decisive";
    item.append(reason.text, " ");
    if (reason.rung !== null) item.append(button(`Rung ${reason.rung + 1}`, () => leadTo(reason.rung, reason.path)), " ");
    item.append(button(`Look at ${told(reason.scan - 1)}`, () => look(reason.scan)));
    list.append(item);
  }
  why.replaceChildren(head, list);
  why.focus({ preventScroll: true });
  why.scrollIntoView({ block: "nearest" });
}

function button(text, act) {
  const made = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: text });
  made.addEventListener("click", act);
  return made;
}
