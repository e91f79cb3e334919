/* The sheet for paper: a button that prints, and what stands at the foot of every page. */
const button = document.getElementById("print");
button.hidden = false;
button.addEventListener("click", () => window.print());

const { running } = document.getElementById("paper").dataset;
document.documentElement.style.setProperty("--running", JSON.stringify(running));

/* A rung wider than this, in px, would be too small to read across an upright page. */
const WIDEST = 1100;
for (const rung of document.querySelectorAll(".printed-rung .rung")) {
  rung.closest(".printed-rung").classList.toggle("lying", rung.width.baseVal.value > WIDEST);
}
