/* Steps of a scenario moved in time: by dragging their flags, or by keys, which wait a moment for
   the next press. A step is a slider; its moment is its value in ms. */
import { byId, closest } from "/static/dom.js";
/** @import { FieldPath } from "/static/authoring/sheet.js" */

const STEP_MS = 100;
const WAIT_MS = 500;
/** @type {Record<string, number>} */
const BY_KEY = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10 };

/** @param {SVGElement} handle @param {"now" | "min" | "max"} name */
const number = (handle, name) => Number(handle.getAttribute(`aria-value${name}`));

/** @param {EventTarget | null} target */
const movable = (target) => closest(target, ".handle:not([aria-disabled])", SVGElement);

/** @param {SVGElement} handle */
function timelineOf(handle) {
  const svg = handle.ownerSVGElement;
  if (!svg) throw new TypeError("The handle stands in no timeline.");
  return svg;
}

/**
 * A step that is being moved: the id of its handle, where it was and where it is, in ms.
 * @typedef {{ id: string, from: number, to: number }} Moving
 */
/**
 * A drag: where the pointer began, the step's moment there, and ms per px.
 * @typedef {{ x: number, from: number, ms: number }} Drag
 */

/**
 * Let steps be moved.
 * @param {(path: FieldPath, by: number) => void} move
 *     keeps what was moved by so many ms
 */
export function timeline(move) {
  /** @type {Moving | null} */
  let moving = null;
  let waiting = 0;
  /** @type {Drag | null} */
  let drag = null;

  /** @param {SVGElement} handle */
  function begin(handle) {
    if (moving?.id === handle.id) return moving;
    end();
    return (moving = { id: handle.id, from: number(handle, "now"), to: number(handle, "now") });
  }

  /** @param {SVGElement} handle @param {Moving} step @param {number} to */
  function show(handle, step, to) {
    const [least, most] = [number(handle, "min"), number(handle, "max")];
    step.to = Math.min(most, Math.max(least, Math.round(to / STEP_MS) * STEP_MS));
    const by = (step.to - step.from) / Number(timelineOf(handle).dataset.scale);
    handle.setAttribute("transform", `translate(${by} 0)`);
    handle.setAttribute("aria-valuenow", String(step.to));
    handle.setAttribute("aria-valuetext", `${step.to / 1000} s`);
  }

  function end() {
    clearTimeout(waiting);
    const done = moving;
    moving = null;
    if (!done || done.to === done.from) return;
    const scenario = closest(byId(done.id, SVGElement), "[data-steps]", HTMLElement);
    const steps = JSON.parse(scenario?.dataset.steps ?? "[]");
    move([...steps, Number(done.id.split("-").at(-1))], done.to - done.from);
  }

  document.addEventListener("keydown", (event) => {
    const handle = movable(event.target);
    const steps = BY_KEY[event.key];
    if (!handle || !steps) return;
    event.preventDefault();
    const step = begin(handle);
    show(handle, step, step.to + steps * STEP_MS * (event.shiftKey ? 10 : 1));
    clearTimeout(waiting);
    waiting = setTimeout(end, WAIT_MS);
  });

  document.addEventListener("focusout", (event) => {
    if (movable(event.target) && !drag) end();
  });

  document.addEventListener("pointerdown", (event) => {
    const handle = movable(event.target);
    if (!handle) return;
    event.preventDefault();
    handle.focus();
    const step = begin(handle);
    const svg = timelineOf(handle);
    const unit = Number(svg.dataset.width) / svg.getBoundingClientRect().width;
    drag = { x: event.clientX, from: step.to, ms: unit * Number(svg.dataset.scale) };
    handle.setPointerCapture(event.pointerId);
  });

  document.addEventListener("pointermove", (event) => {
    const handle = movable(event.target);
    if (handle && drag && moving) show(handle, moving, drag.from + (event.clientX - drag.x) * drag.ms);
  });

  for (const name of ["pointerup", "pointercancel"]) {
    document.addEventListener(name, () => {
      if (!drag) return;
      drag = null;
      end();
    });
  }
}
