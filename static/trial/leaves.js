// What stays in view: on a narrow sheet one leaf at a time, and everywhere the heights of what sticks.

import { byId, find, queryAll } from "/static/dom.js";

const lab = byId("lab", HTMLElement);
const chart = byId("chart", HTMLDetailsElement);
const narrow = matchMedia("(width < 68.75rem)");
const links = queryAll(lab, ".leaves a", HTMLAnchorElement);

/**
 * Open the leaf that has a part of the sheet.
 * @param {Element} part
 */
export function openLeaf(part) {
  const leaf = part.closest("[data-on]")?.getAttribute("data-on");
  if (!leaf || leaf === document.documentElement.dataset.leaf) return;
  document.documentElement.dataset.leaf = leaf;
  for (const link of links) {
    if (document.querySelector(link.hash)?.getAttribute("data-on") === leaf) link.setAttribute("aria-current", "true");
    else link.removeAttribute("aria-current");
  }
}

function follow() {
  const part = location.hash.length > 1 ? document.getElementById(location.hash.slice(1)) : null;
  if (!part) return;
  openLeaf(part);
  if (narrow.matches) part.scrollIntoView({ block: "start", behavior: "instant" });
}

function fold() {
  if (narrow.matches) chart.open = true;
}

document.documentElement.dataset.leaf = "";
openLeaf(find(lab, "[data-on]", HTMLElement) ?? lab);
follow();
fold();
window.addEventListener("hashchange", follow);
// A window that gets narrow shows the leaf where one works: focus in a hidden one would be lost.
lab.addEventListener("focusin", ({ target }) => {
  if (target instanceof Element) openLeaf(target);
});
narrow.addEventListener("change", fold);

/* Nothing that has the focus may lie under what sticks; when causes or the chart open at the foot,
   the rung in work stays in sight. */
let before = 0;
const heights = new ResizeObserver(() => {
  const line = byId("requirement-line", HTMLElement).offsetHeight;
  const bench = find(lab, ".bench", HTMLElement);
  const benchAbove = bench && !narrow.matches ? bench.offsetHeight : 0;
  const below = byId("lab-foot", HTMLElement).offsetHeight;
  const { style } = document.documentElement;
  style.setProperty("--line-height", `${line}px`);
  style.setProperty("--above", `${line + benchAbove}px`);
  style.setProperty("--below", `${below}px`);
  const rung = find(lab, ".rung-row:has(.selected) svg.rung", SVGElement);
  const { top = 0, bottom = 0 } = rung?.getBoundingClientRect() ?? {};
  if (before && bottom > innerHeight - below && top < innerHeight - before) rung?.scrollIntoView({ block: "nearest", behavior: "instant" });
  before = below;
});
for (const each of ["#requirement-line", ".bench", "#lab-foot"]) {
  const part = find(lab, each, HTMLElement);
  if (part) heights.observe(part);
}
