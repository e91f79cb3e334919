/* Steps of a scenario moved in time: by dragging their flags, or by keys, which wait a moment for
   the next press. A step is a slider; its moment is its value in ms. */
const STEP_MS = 100;
const WAIT_MS = 500;
const BY_KEY = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10 };

const number = (handle, name) => Number(handle.getAttribute(`aria-value${name}`));
const movable = (target) => target.closest?.(".handle:not([aria-disabled])");

/* `move(path, ms)` keeps what was moved. */
export function timeline(move) {
  let moving = null; // the handle, where it was and where it is
  let waiting = 0;
  let drag = null;

  function begin(handle) {
    if (moving?.id === handle.id) return;
    end();
    moving = { id: handle.id, from: number(handle, "now"), to: number(handle, "now") };
  }

  function show(handle, to) {
    const [least, most] = [number(handle, "min"), number(handle, "max")];
    moving.to = Math.min(most, Math.max(least, Math.round(to / STEP_MS) * STEP_MS));
    const by = (moving.to - moving.from) / Number(handle.ownerSVGElement.dataset.scale);
    handle.setAttribute("transform", `translate(${by} 0)`);
    handle.setAttribute("aria-valuenow", moving.to);
    handle.setAttribute("aria-valuetext", `${moving.to / 1000} s`);
  }

  function end() {
    clearTimeout(waiting);
    const done = moving;
    moving = null;
    if (!done || done.to === done.from) return;
    const handle = document.getElementById(done.id);
    const steps = JSON.parse(handle.closest("[data-steps]").dataset.steps);
    move([...steps, Number(done.id.split("-").at(-1))], done.to - done.from);
  }

  document.addEventListener("keydown", (event) => {
    const handle = movable(event.target);
    const steps = BY_KEY[event.key];
    if (!handle || !steps) return;
    event.preventDefault();
    begin(handle);
    show(handle, moving.to + steps * STEP_MS * (event.shiftKey ? 10 : 1));
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
    begin(handle);
    const svg = handle.ownerSVGElement;
    const unit = Number(svg.dataset.width) / svg.getBoundingClientRect().width;
    drag = { x: event.clientX, from: moving.to, ms: unit * Number(svg.dataset.scale) };
    handle.setPointerCapture(event.pointerId);
  });

  document.addEventListener("pointermove", (event) => {
    if (drag && moving) show(event.target, drag.from + (event.clientX - drag.x) * drag.ms);
  });

  for (const name of ["pointerup", "pointercancel"]) {
    document.addEventListener(name, () => {
      if (!drag) return;
      drag = null;
      end();
    });
  }
}
