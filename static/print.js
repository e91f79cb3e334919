/* The sheet for paper: a button that prints, and what stands at the foot of every page. */
const button = document.getElementById("print");
button.hidden = false;
button.addEventListener("click", () => window.print());

const { running } = document.getElementById("paper").dataset;
document.documentElement.style.setProperty("--running", JSON.stringify(running));
