// Saved runs: save, open, repeat on the present program, delete; and a run as a scenario.

import { byId, query } from "/static/dom.js";
/** @import { Send } from "/static/trial/link.js" */

/** @typedef {{ name: string, seconds: number }} SavedRun */

/** @type {Send} */
let command = () => false;

/** @param {Send} send */
export function bindRecords(send) {
  command = send;
  byId("save-run", HTMLFormElement).addEventListener("submit", (event) => {
    event.preventDefault();
    const name = byId("run-name", HTMLInputElement);
    if (send({ do: "save", name: name.value })) name.value = "";
  });
}

/** @param {{ saved?: SavedRun[], scenario?: string }} answer */
export function showRecords({ saved, scenario }) {
  if (scenario !== undefined) {
    const text = byId("scenario-text", HTMLTextAreaElement);
    text.value = scenario;
    text.hidden = query(document, 'label[for="scenario-text"]', HTMLLabelElement).hidden = false;
    text.focus();
  }
  if (saved === undefined) return;
  byId("saved-runs", HTMLElement).replaceChildren(...saved.map(row));
}

/** @param {SavedRun} run */
function row({ name, seconds }) {
  const item = document.createElement("li");
  const title = Object.assign(document.createElement("span"), { className: "run-title", textContent: `${name}, ${seconds.toFixed(1)} s` });
  item.append(title, " ");
  for (const [wish, words] of [["open", "Open"], ["repeat", "Repeat on the present program"], ["forget", "Delete"]]) {
    const button = Object.assign(document.createElement("button"), { type: "button", className: wish === "forget" ? "plain" : "small", textContent: words });
    button.setAttribute("aria-label", `${words}: ${name}`);
    button.addEventListener("click", () => command({ do: wish, name }));
    item.append(button, " ");
  }
  return item;
}
