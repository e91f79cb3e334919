/* What a selected element does, where its symbols are used, which requirements its rung serves. */
const dialog = document.getElementById("about");
const content = document.getElementById("about-content");

/* Ask the server about a place {rung, at}, or about a {symbol} alone. */
export function tellAbout({ rung = -1, at = "", symbol = "" }) {
  const waiting = document.createElement("p");
  waiting.className = "under";
  waiting.textContent = "The example is being run.";
  content.replaceChildren(waiting);
  dialog.showModal();
  const asked = new URLSearchParams({ rung, at, symbol });
  return htmx.ajax("GET", `${document.getElementById("editor").dataset.editor}/about?${asked}`, {
    source: dialog,
    target: content,
    swap: "innerHTML",
  });
}
