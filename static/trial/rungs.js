// The rungs in work: what conducts is drawn thick, values stand at their elements.
//
// A row of the sheet shows a run if a rung of the running version has the same text; one that was
// just changed, or has an error, stands still until the run has it.

import { byId, find, query, queryAll } from "/static/dom.js";
/** @import { Values } from "/static/trial/plant.js" */

/**
 * What shows signals in a row: by "rail", a path within the rung, or "v:" and the name of a value.
 * @typedef {{ text: string, parts: [key: string, part: SVGElement][] }} Bound
 */

const rows = () => /** @type {HTMLCollectionOf<HTMLElement>} */ (byId("rungs", HTMLElement).children);
/** @type {WeakMap<HTMLElement, Bound>} */
const bound = new WeakMap();
/* Stands for the left rail, which the supply feeds. */
const RAIL = "rail";
/**
 * The number of the running rung that a part shows.
 * @type {WeakMap<SVGElement, number>}
 */
const numbers = new WeakMap();
/**
 * The rungs of the running version, as text.
 * @type {string[]}
 */
let running = [];
/**
 * The row of each running rung, by the rung's number.
 * @type {Map<number, HTMLElement>}
 */
let shown = new Map();
/**
 * What shows each signal.
 * @type {Map<string, SVGElement[]>}
 */
let parts = new Map();

/**
 * Take the rungs of the version that runs. Who only watches gets them as SVG, too.
 * @param {string[]} texts
 * @param {string[] | null} drawings
 */
export function layRungs(texts, drawings) {
  running = texts;
  if (drawings) byId("rungs", HTMLElement).replaceChildren(...drawings.map((drawing, number) => drawnRow(drawing, texts[number])));
  bindRungs();
}

/** @param {string} drawing @param {string} text */
function drawnRow(drawing, text) {
  const row = document.createElement("li");
  const frame = Object.assign(document.createElement("div"), { className: "rung-frame", tabIndex: 0, innerHTML: drawing });
  frame.setAttribute("role", "region");
  frame.setAttribute("aria-label", query(frame, "title", SVGElement).textContent);
  row.dataset.text = text;
  row.append(frame);
  return row;
}

/** Find which rows show which running rung; to be called whenever either has changed. */
export function bindRungs() {
  /** @type {Map<string, number[]>} */
  const waiting = new Map();
  for (const [number, text] of running.entries()) waiting.set(text, [...(waiting.get(text) ?? []), number]);
  shown = new Map();
  parts = new Map();
  for (const row of rows()) {
    const number = waiting.get(row.dataset.text ?? "")?.shift();
    const { parts: found } = boundIn(row);
    row.classList.toggle("in-run", number !== undefined);
    if (number === undefined) {
      for (const [, part] of found) rest(part);
      continue;
    }
    shown.set(number, row);
    for (const [name, part] of found) {
      const key = name.startsWith("v:") ? name : power(number, name);
      numbers.set(part, number);
      const same = parts.get(key);
      if (same) same.push(part);
      else parts.set(key, [part]);
    }
  }
}

/** @param {HTMLElement} row @returns {Bound} */
function boundIn(row) {
  const text = row.dataset.text ?? "";
  const known = bound.get(row);
  if (known?.text === text && known.parts.every(([, part]) => part.isConnected)) return known;
  /** @type {[string, SVGElement][]} */
  const found = [];
  for (const part of queryAll(row, "[data-path]", SVGElement)) found.push([within(part.dataset.path), part]);
  for (const part of queryAll(row, "[data-output]", SVGElement)) found.push(["", part]);
  for (const part of queryAll(row, "[data-value]", SVGElement)) found.push([`v:${part.dataset.value?.toLowerCase()}`, part]);
  for (const part of queryAll(row, "[data-wire]", SVGElement)) for (const source of sourcesOf(part)) found.push([source, part]);
  const made = { text, parts: found };
  bound.set(row, made);
  return made;
}

/**
 * Return a path within its rung: a drawing that tells the rung's number has it before a colon.
 * @param {string | undefined} path
 */
const within = (path = "") => path.slice(path.indexOf(":") + 1);

/** @param {number} rung @param {string} path */
const power = (rung, path) => (path === "rail" ? RAIL : `p:${rung}:${path}`);

/**
 * Return the elements of which any one letting power out makes a wire conduct.
 * @param {SVGElement} wire
 */
const sourcesOf = (wire) => (wire.dataset.wire ?? "").split(" ").map(within);

/** @param {SVGElement} part */
function rest(part) {
  part.classList.remove("live", "closed");
  if (part.dataset.value !== undefined) part.textContent = "";
}

/** @param {Iterable<string>} changed @param {Values} values */
export function showRungs(changed, values) {
  for (const key of changed) {
    for (const part of parts.get(key === "power" ? RAIL : key) ?? []) {
      if (part.dataset.wire !== undefined) part.classList.toggle("live", isLive(part, values));
      else if (part.dataset.value !== undefined) part.textContent = formatValue(part.dataset.value, values.get(key));
      else part.classList.toggle("closed", values.get(key) === 1);
    }
  }
}

/** @param {SVGElement} wire @param {Values} values */
function isLive(wire, values) {
  const rung = numbers.get(wire) ?? -1;
  return sourcesOf(wire).some((path) => values.get(path === "rail" ? "power" : power(rung, path)) === 1);
}

/**
 * Return a value as it stands beside its element: times in seconds, everything else as it is.
 * @param {string} name
 * @param {number | null | undefined} value
 */
export function formatValue(name, value) {
  if (value === undefined || value === null) return "";
  return /\.et$/i.test(name) ? `${(value / 1000).toFixed(2)} s` : String(value);
}

/** @type {Element | undefined} */
let faulty;

/**
 * Mark the place of a running rung at which the causes of a failure end; null takes the mark away.
 * @param {{ rung: number | null, path: string | null, output: number | null } | null} place
 */
export function markFaulty(place) {
  faulty?.classList.remove("faulty");
  faulty?.removeAttribute("aria-description");
  const row = place && place.rung !== null ? shown.get(place.rung) : undefined;
  if (!place || !row) return;
  const inner = place.path !== null ? `[data-path="${place.path}"]` : place.output !== null ? `[data-output="${place.output}"]` : "svg";
  faulty = find(row, inner, SVGElement) ?? undefined;
  faulty?.classList.add("faulty");
  faulty?.setAttribute("aria-description", "The causes of the failure end here");
}

/**
 * Go to an element of a running rung, or to the rung's output; the focus selects it.
 * @param {number} rung  from 0
 * @param {string | null} path
 */
export function showElement(rung, path) {
  const row = shown.get(rung);
  if (!row) return;
  const part = find(row, path ? `[data-path="${path}"]` : "[data-output]", SVGElement);
  row.scrollIntoView({ block: "center", behavior: "instant" });
  part?.focus({ preventScroll: true });
}
