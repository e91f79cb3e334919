/* Dragging elements, rungs, points and tools to a place in the rungs, with pointer, pen or finger.

   Everything that can be dragged can also be done by choosing a place and a command. A finger drags
   after a short rest, so that it can still scroll. `drop(source, target)` is asked at the end:

   source: {kind: "element", rung, path} | {kind: "rung", rung} | {kind: "point", symbol, output} |
           {kind: "tool", command}
   target: {rung, path, side, stop}: side is before, after or parallel; path null is the rung's end. */
const START_PX = 6;
const REST_MS = 350;
const EDGE_PX = 70;

export function dragging(frame, drop) {
  const mark = document.createElement("div");
  mark.className = "drop-mark";
  mark.hidden = true;
  document.body.append(mark);
  let held = null;
  let dragged = false;
  let target = null;
  let at = [0, 0];

  document.addEventListener("pointerdown", (event) => {
    const source = event.button === 0 && event.isPrimary && sourceOf(event.target);
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
    const [source, found] = [held?.source, dragged && target];
    if (dragged) swallowClick();
    end();
    if (found) drop(source, found);
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
    getSelection().removeAllRanges();
    show();
    requestAnimationFrame(scrollAtEdge);
  }

  function end() {
    clearTimeout(held?.rest);
    held = target = null;
    dragged = false;
    at = [0, 0];
    mark.hidden = true;
    document.documentElement.classList.remove("dragging");
  }

  function show() {
    target = targetAt(...at, held.source);
    mark.hidden = !target;
    if (!target) return;
    const box = (target.stop.querySelector(".cell") || target.stop).getBoundingClientRect();
    const shapes = {
      before: [box.left - 2, box.top, 4, box.height],
      after: [box.right - 2, box.top, 4, box.height],
      parallel: [box.left, box.bottom - 2, box.width, 4],
      above: [box.left, box.top - 2, box.width, 4],
      below: [box.left, box.bottom - 2, box.width, 4],
    };
    const [left, top, width, height] = shapes[target.side];
    Object.assign(mark.style, { left: `${left}px`, top: `${top}px`, width: `${width}px`, height: `${height}px` });
  }

  function scrollAtEdge() {
    if (!dragged) return;
    const step = at[1] < EDGE_PX ? -12 : at[1] > innerHeight - EDGE_PX ? 12 : 0;
    // The bench itself stands at an edge: a tool must have left it first.
    if (!step) held.inside = true;
    else if (held.inside) {
      scrollBy(0, step);
      show();
    }
    requestAnimationFrame(scrollAtEdge);
  }

  function targetAt(x, y, source) {
    const under = document.elementFromPoint(x, y);
    const row = frame.contains(under) && under.closest(".rung-row");
    if (!row) return null;
    const rung = numberOf(row);
    if (source.kind === "rung") {
      const box = row.getBoundingClientRect();
      return { rung, path: null, stop: row, side: y < box.top + box.height / 2 ? "above" : "below" };
    }
    const stop = under.closest("[data-path]");
    if (!stop || source.output) return { rung, path: null, stop: row.querySelector("svg"), side: "after" };
    const box = (stop.querySelector(".cell") || stop).getBoundingClientRect();
    const across = (x - box.left) / box.width;
    const low = (y - box.top) / box.height > 0.65 && across > 0.2 && across < 0.8;
    const side = low ? "parallel" : across < 0.5 ? "before" : "after";
    return { rung, path: pathOf(stop), stop, side };
  }
}

/* What a press on an element would drag, or null. */
function sourceOf(pressed) {
  const row = pressed.closest(".rungs-frame .rung-row");
  const element = pressed.closest(".rungs-frame [data-path]");
  if (element) return { kind: "element", rung: numberOf(row), path: pathOf(element) };
  if (pressed.closest(".rungs-frame .rung-head")) return { kind: "rung", rung: numberOf(row) };
  const point = pressed.closest("#points tr[data-address]");
  if (point) {
    const declared = document.querySelector(`#declarations tr[data-address="${point.dataset.address}"]`);
    const output = point.dataset.address.startsWith("%Q");
    return declared && { kind: "point", symbol: declared.dataset.symbol, output };
  }
  const tool = pressed.closest(".bench .tool[data-command]");
  return tool && { kind: "tool", command: tool.dataset.command };
}

const numberOf = (row) => Number(row.id.slice("rung-".length));
const pathOf = (stop) => stop.dataset.path.split(".").map(Number);

/* The press that ended a drag is no click on what lies there. */
function swallowClick() {
  const swallow = (event) => event.stopPropagation();
  document.addEventListener("click", swallow, { capture: true, once: true });
  setTimeout(() => document.removeEventListener("click", swallow, { capture: true }), 0);
}
