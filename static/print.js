/* The sheet for paper: a button that prints, and what stands at the foot of every page. */
import { byId, queryAll } from "/static/dom.js";

const button = byId("print", HTMLButtonElement);
button.hidden = false;
button.addEventListener("click", () => window.print());

const { running = "" } = byId("paper", HTMLElement).dataset;
document.documentElement.style.setProperty("--running", JSON.stringify(running));

/* A rung wider than this, in px, would be too small to read across an upright page. */
const WIDEST = 1100;
for (const rung of queryAll(document, ".printed-rung .rung", SVGSVGElement)) {
  rung.closest(".printed-rung")?.classList.toggle("lying", rung.width.baseVal.value > WIDEST);
}
