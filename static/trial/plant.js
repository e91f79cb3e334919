// Moves the plant's drawing: every group with a signal shows its value.

import { query, queryAll } from "/static/dom.js";

/**
 * The present values by signal, null for what has none.
 * @typedef {Map<string, number | null>} Values
 */
/** @typedef {(part: SVGElement, value: number | null, signal: string) => void} Drawer */

/** @type {Map<string, SVGElement[]>} */
const shown = new Map();

for (const part of queryAll(document, ".plant-frame svg [data-signal]", SVGElement)) {
  for (const signal of [part.dataset.signal, part.dataset.mark]) {
    if (signal) shown.set(signal, [...(shown.get(signal) ?? []), part]);
  }
}

/** @param {SVGElement} part @param {string} name */
const measure = (part, name) => Number(part.dataset[name]);

/** @param {SVGElement} part @param {number | null} value */
function moveAlong(part, value) {
  const x = measure(part, "origin") + measure(part, "scale") * Number(value);
  part.setAttribute("transform", `translate(${x.toFixed(1)} 0)`);
}

/**
 * How a group shows its signal, by its kind: see server/plant/drawing.py.
 * @type {Record<string, Drawer>}
 */
const drawers = {
  level(part, value) {
    const [low, high] = [measure(part, "low"), measure(part, "high")];
    const [bottom, top] = [measure(part, "bottom"), measure(part, "top")];
    const share = Math.min(Math.max((Number(value) - low) / (high - low), 0), 1);
    const y = bottom - (bottom - top) * share;
    const liquid = query(part, ".liquid", SVGElement);
    liquid.setAttribute("y", String(y));
    liquid.setAttribute("height", String(bottom - y));
    const surface = query(part, ".surface", SVGElement);
    const from = Number(liquid.getAttribute("x"));
    const to = from + Number(liquid.getAttribute("width"));
    surface.setAttribute("d", `M${from} ${y}L${to} ${y}`);
  },
  item(part, value, signal) {
    if (signal === part.dataset.mark) {
      part.classList.toggle("marked", value === 1);
      return;
    }
    const there = value !== null && value >= 0;
    part.setAttribute("visibility", there ? "visible" : "hidden");
    if (there) moveAlong(part, value);
  },
  axis: moveAlong,
  turntable(part, value) {
    const angle = measure(part, "scale") * Number(value);
    part.setAttribute("transform", `rotate(${angle.toFixed(1)} ${part.dataset.x} ${part.dataset.y})`);
  },
  value(part, value) {
    const { unit = "", digits = "0" } = part.dataset;
    part.textContent = value === null ? "" : `${value.toFixed(Number(digits))}${unit && ` ${unit}`}`;
  },
  display(part, value) {
    const places = measure(part, "places");
    const digits = value === null ? "" : String(value);
    const fits = digits.length <= places && Number(value) >= 0;
    const text = fits ? digits.padStart(places) : "-".repeat(places);
    for (const segment of queryAll(part, ".segment", SVGElement)) {
      const digit = text.charAt(measure(segment, "digit"));
      segment.classList.toggle("on", (segment.dataset.lit ?? "").includes(digit));
    }
  },
  stop(part, value) {
    part.classList.toggle("on", value === measure(part, "when"));
  },
};

/** @type {Drawer} */
const toggle = (part, value) => part.classList.toggle("on", Boolean(value));

/** @param {string[]} changed @param {Values} values */
export function showPlant(changed, values) {
  for (const key of changed) {
    for (const part of shown.get(key) ?? []) {
      (drawers[part.dataset.kind ?? ""] ?? toggle)(part, values.get(key) ?? null, key);
    }
  }
}
