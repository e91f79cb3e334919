/* Dragging elements, rungs, points and tools to a place in the rungs, with pointer, pen or finger.

   Everything that can be dragged can also be done by choosing a place and a command. A finger drags
   after a short rest, so that it can still scroll. */
import { closest, query } from "/static/dom.js";
/** @import { Path, Side } from "/static/editor/actions.js" */

/**
 * An element of a rung, or a point; a point that is an output goes to the rung's end.
 * @typedef {{ kind: "element", rung: number, path: Path }
 *   | { kind: "point", symbol: string, output: boolean }} Part
 */
/** @typedef {{ kind: "tool", command: string }} Tool */
/** @typedef {Part | Tool | { kind: "rung", rung: number }} Source */
/**
 * Where a part or a tool goes: beside or parallel to an element, or with path null at the rung's end.
 * @typedef {{ rung: number, path: Path | null, side: Side | "parallel" }} Target
 */
/**
 * Where a rung goes: above or below another.
 * @typedef {{ rung: number, side: "above" | "below" }} Gap
 */
/**
 * Do what a drag asked for, at its end.
 * @typedef {object} Drops
 * @property {(from: number, gap: Gap) => void} rung
 * @property {(source: Part | Tool, target: Target) => void} part
 */
/**
 * What is under the pointer during a drag, at which side of it the mark stands, what dropping does.
 * @typedef {{ stop: Element, side: Target["side"] | Gap["side"], drop: () => void }} Found
 */
/**
 * A press: where it began, whether it has been inside the page, the timer of a finger's rest.
 * @typedef {{ source: Source, x: number, y: number, inside: boolean, rest?: number }} Held
 */

const START_PX = 6;
const REST_MS = 350;
const EDGE_PX = 70;

/**
 * Let elements, rungs, points and tools be dragged into the frame of the rungs.
 * @param {HTMLElement} frame
 * @param {Drops} drops
 */
export function dragging(frame, drops) {
  const mark = document.createElement("div");
  mark.className = "drop-mark";
  mark.hidden = true;
  document.body.append(mark);
  /** @type {Held | null} */
  let held = null;
  let dragged = false;
  /** @type {Found | null} */
  let found = null;
  /** @type {[number, number]} */
  let at = [0, 0];

  document.addEventListener("pointerdown", (event) => {
    const source = event.button === 0 && event.isPrimary ? sourceOf(event.target) : null;
    if (!source) return;
    held = { source, x: event.clientX, y: event.clientY, inside: source.kind !== "tool" };
    if (event.pointerType === "touch") held.rest = setTimeout(begin, REST_MS);
  });
  document.addEventListener("pointermove", (event) => {
    if (!held) return;
    at = [event.clientX, event.clientY];
    const far = Math.hypot(at[0] - held.x, at[1] - held.y) > START_PX;
    if (dragged) show();
    else if (far && event.pointerType === "touch") end();
    else if (far) begin();
  });
  document.addEventListener("pointerup", () => {
    const last = dragged ? found : null;
    if (dragged) swallowClick();
    end();
    last?.drop();
  });
  document.addEventListener("pointercancel", end);
  document.addEventListener("keydown", (event) => event.key === "Escape" && dragged && end());
  // While a finger drags, it must not scroll, and a press that rests must not open a menu.
  document.addEventListener("touchmove", (event) => dragged && event.preventDefault(), { passive: false });
  document.addEventListener("contextmenu", (event) => dragged && event.preventDefault());

  function begin() {
    if (!held) return;
    dragged = true;
    at = at[0] ? at : [held.x, held.y];
    document.documentElement.classList.add("dragging");
    getSelection()?.removeAllRanges();
    show();
    requestAnimationFrame(scrollAtEdge);
  }

  function end() {
    clearTimeout(held?.rest);
    held = found = null;
    dragged = false;
    at = [0, 0];
    mark.hidden = true;
    document.documentElement.classList.remove("dragging");
  }

  function show() {
    found = held && targetAt(...at, held.source);
    mark.hidden = !found;
    if (!found) return;
    const box = (found.stop.querySelector(".cell") || found.stop).getBoundingClientRect();
    const shapes = {
      before: [box.left - 2, box.top, 4, box.height],
      after: [box.right - 2, box.top, 4, box.height],
      parallel: [box.left, box.bottom - 2, box.width, 4],
      above: [box.left, box.top - 2, box.width, 4],
      below: [box.left, box.bottom - 2, box.width, 4],
    };
    const [left, top, width, height] = shapes[found.side];
    Object.assign(mark.style, { left: `${left}px`, top: `${top}px`, width: `${width}px`, height: `${height}px` });
  }

  function scrollAtEdge() {
    if (!held || !dragged) return;
    const step = at[1] < EDGE_PX ? -12 : at[1] > innerHeight - EDGE_PX ? 12 : 0;
    // The bench itself stands at an edge: a tool must have left it first.
    if (!step) held.inside = true;
    else if (held.inside) {
      scrollBy(0, step);
      show();
    }
    requestAnimationFrame(scrollAtEdge);
  }

  /**
   * @param {number} x
   * @param {number} y
   * @param {Source} source
   * @returns {Found | null}
   */
  function targetAt(x, y, source) {
    const under = document.elementFromPoint(x, y);
    const row = frame.contains(under) ? closest(under, ".rung-row", HTMLElement) : null;
    if (!row) return null;
    const rung = numberOf(row);
    if (source.kind === "rung") {
      const box = row.getBoundingClientRect();
      const side = y < box.top + box.height / 2 ? "above" : "below";
      return { stop: row, side, drop: () => drops.rung(source.rung, { rung, side }) };
    }
    const { stop, path, side } = placeIn(row, under, x, y, source);
    return { stop, side, drop: () => drops.part(source, { rung, path, side }) };
  }
}

/**
 * Return where in a row a part or a tool goes.
 * @param {HTMLElement} row
 * @param {Element | null} under
 * @param {number} x
 * @param {number} y
 * @param {Part | Tool} source
 * @returns {{ stop: Element, path: Path | null, side: Target["side"] }}
 */
function placeIn(row, under, x, y, source) {
  const stop = closest(under, "[data-path]", SVGElement);
  const isOutput = source.kind === "point" && source.output;
  if (!stop || isOutput) return { stop: query(row, "svg", SVGElement), path: null, side: "after" };
  const box = (stop.querySelector(".cell") || stop).getBoundingClientRect();
  const across = (x - box.left) / box.width;
  const low = (y - box.top) / box.height > 0.65 && across > 0.2 && across < 0.8;
  return { stop, path: pathOf(stop), side: low ? "parallel" : across < 0.5 ? "before" : "after" };
}

/**
 * Return what a press would drag, or null.
 * @param {EventTarget | null} pressed
 * @returns {Source | null}
 */
function sourceOf(pressed) {
  const row = closest(pressed, ".rungs-frame .rung-row", HTMLElement);
  const element = closest(pressed, ".rungs-frame [data-path]", SVGElement);
  if (row && element) return { kind: "element", rung: numberOf(row), path: pathOf(element) };
  const head = closest(pressed, ".rungs-frame .rung-head", HTMLElement);
  if (row && head) return { kind: "rung", rung: numberOf(row) };
  const point = closest(pressed, "#points tr[data-address]", HTMLElement);
  if (point) return pointSource(point.dataset.address ?? "");
  const tool = closest(pressed, ".bench .tool[data-command]", HTMLElement);
  return tool && { kind: "tool", command: tool.dataset.command ?? "" };
}

/**
 * Return the point at an address if it is declared, or null.
 * @param {string} address
 * @returns {Source | null}
 */
function pointSource(address) {
  const declared = document.querySelector(`#declarations tr[data-address="${address}"]`);
  const symbol = declared?.getAttribute("data-symbol");
  return symbol ? { kind: "point", symbol, output: address.startsWith("%Q") } : null;
}

/** @param {HTMLElement} row */
const numberOf = (row) => Number(row.id.slice("rung-".length));

/** @param {SVGElement} stop */
const pathOf = (stop) => (stop.dataset.path ?? "").split(".").map(Number);

/* The press that ended a drag is not a click on what lies there. */
function swallowClick() {
  /** @param {Event} event */
  const swallow = (event) => event.stopPropagation();
  document.addEventListener("click", swallow, { capture: true, once: true });
  setTimeout(() => document.removeEventListener("click", swallow, { capture: true }), 0);
}
