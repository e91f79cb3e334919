// Moves the plant's drawing: every group with a signal shows its value.

const svg = document.querySelector(".plant-frame svg");
const shown = new Map();

for (const part of svg ? svg.querySelectorAll("[data-signal]") : []) {
  for (const signal of [part.dataset.signal, part.dataset.mark]) {
    if (signal) shown.set(signal, [...(shown.get(signal) ?? []), part]);
  }
}

const drawers = {
  level(part, value) {
    const { low, high, bottom, top } = part.dataset;
    const share = Math.min(Math.max((value - low) / (high - low), 0), 1);
    const y = bottom - (bottom - top) * share;
    const liquid = part.querySelector(".liquid");
    liquid.setAttribute("y", y);
    liquid.setAttribute("height", bottom - y);
    const surface = part.querySelector(".surface");
    const [from, to] = [+liquid.getAttribute("x"), +liquid.getAttribute("x") + +liquid.getAttribute("width")];
    surface.setAttribute("d", `M${from} ${y}L${to} ${y}`);
  },
  item(part, value, signal) {
    if (signal === part.dataset.mark) return part.classList.toggle("marked", value === 1);
    const there = value !== null && value >= 0;
    part.setAttribute("visibility", there ? "visible" : "hidden");
    if (there) drawers.axis(part, value);
  },
  axis(part, value) {
    const x = +part.dataset.origin + part.dataset.scale * value;
    part.setAttribute("transform", `translate(${x.toFixed(1)} 0)`);
  },
  value(part, value) {
    const { unit = "", digits = 0 } = part.dataset;
    part.textContent = value === null ? "" : `${value.toFixed(digits)}${unit && ` ${unit}`}`;
  },
  stop(part, value) {
    part.classList.toggle("on", value === +part.dataset.when);
  },
};

const toggle = (part, value) => part.classList.toggle("on", Boolean(value));

export function showPlant(changed, values) {
  for (const key of changed) {
    for (const part of shown.get(key) ?? []) {
      (drawers[part.dataset.kind] ?? toggle)(part, values.get(key), key);
    }
  }
}
