// The rungs, live: thick wires and beads where power goes, values at their elements.

import { byId, closest, find, queryAll } from "/static/dom.js";
/** @import { Values } from "/static/trial/plant.js" */

const list = byId("rung-list", HTMLElement);
/**
 * What shows each signal.
 * @type {Map<string, SVGElement[]>}
 */
let parts = new Map();

/** @param {string} key @param {SVGElement} part */
function watch(key, part) {
  parts.set(key, [...(parts.get(key) ?? []), part]);
}

/** @param {string} path */
const power = (path) => (path === "rail" ? "v:?rail" : `p:${path}`);

/**
 * Put another version's rungs on the page. A click on a contact or a coil asks about its signal;
 * without a pointer the table of signals does.
 * @param {string[]} rungs  each as SVG
 * @param {((signal: string) => void) | null} ask
 */
export function layRungs(rungs, ask) {
  parts = new Map();
  list.replaceChildren();
  if (!rungs.length) list.append(Object.assign(document.createElement("p"), { className: "under", textContent: "The program has no rung yet. Work the plant by hand meanwhile." }));
  for (const [number, drawing] of rungs.entries()) {
    const frame = document.createElement("div");
    frame.className = "scroll figure rung-frame";
    frame.id = `rung-${number}`;
    frame.tabIndex = 0;
    frame.setAttribute("role", "region");
    frame.setAttribute("aria-label", `Rung ${number + 1}`);
    frame.innerHTML = drawing;
    list.append(frame);
    frame.addEventListener("click", (event) => {
      const part = closest(event.target, ".contact, .coil", SVGElement);
      if (part && ask) ask([...part.querySelectorAll(".name")].map((name) => name.textContent).join(""));
    });
    for (const each of queryAll(frame, "[data-path]", SVGElement)) watch(`p:${each.dataset.path}`, each);
    for (const each of queryAll(frame, "[data-output]", SVGElement)) watch(`p:${number}:`, each);
    for (const each of queryAll(frame, "[data-value]", SVGElement)) watch(`v:${each.dataset.value?.toLowerCase()}`, each);
    for (const each of queryAll(frame, "[data-wire]", SVGElement)) {
      for (const source of sourcesOf(each)) watch(power(source), each);
    }
  }
}

/**
 * Return the elements of which any one letting power out makes a wire conduct.
 * @param {SVGElement} wire
 */
const sourcesOf = (wire) => (wire.dataset.wire ?? "").split(" ");

/** @param {string[]} changed @param {Values} values */
export function showRungs(changed, values) {
  /** @param {string} source */
  const on = (source) => (source === "rail" ? values.get("power") : values.get(power(source)));
  const keys = changed.includes("power") ? [...changed, "v:?rail"] : changed;
  for (const key of keys) {
    for (const part of parts.get(key) ?? []) {
      if (part.dataset.wire !== undefined) {
        part.classList.toggle("live", sourcesOf(part).some((source) => on(source) === 1));
      } else if (part.dataset.value !== undefined) {
        part.textContent = formatValue(part.dataset.value, values.get(key));
      } else {
        part.classList.toggle("closed", values.get(key) === 1);
      }
    }
  }
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

/**
 * Scroll to an element, or to a rung's output, and mark it.
 * @param {number} rung  from 0
 * @param {string | null} path
 */
export function showElement(rung, path) {
  const frame = document.getElementById(`rung-${rung}`);
  if (!frame) return;
  for (const old of list.querySelectorAll(".selected")) old.classList.remove("selected");
  const part = find(frame, path ? `[data-path="${rung}:${path}"]` : "[data-output]", SVGElement);
  part?.classList.add("selected");
  frame.scrollIntoView({ block: "center", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
  frame.focus({ preventScroll: true });
}
