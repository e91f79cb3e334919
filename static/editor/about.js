/* What a selected element does, where its symbols are used, which requirements its rung serves. */
import { byId } from "/static/dom.js";

const dialog = byId("about", HTMLDialogElement);
const content = byId("about-content", HTMLElement);

/**
 * Ask the server about a place, or about a symbol alone.
 * @param {{ rung?: number, at?: string, symbol?: string }} subject
 */
export function showAbout({ rung = -1, at = "", symbol = "" }) {
  const waiting = document.createElement("p");
  waiting.className = "under";
  waiting.textContent = "The example is being run.";
  content.replaceChildren(waiting);
  dialog.showModal();
  const asked = new URLSearchParams({ rung: String(rung), at, symbol });
  return htmx.ajax("GET", `${byId("editor", HTMLElement).dataset.editor}/about?${asked}`, {
    source: dialog,
    target: content,
    swap: "innerHTML",
  });
}
