// Saved runs: save, open, repeat on the present program, delete; and a run as a scenario.

const find = (id) => document.getElementById(id);
let command = () => {};

export function takeRecords(send) {
  command = send;
  find("save-run").addEventListener("submit", (event) => {
    event.preventDefault();
    if (send({ do: "save", name: find("run-name").value })) find("run-name").value = "";
  });
}

export function showRecords({ saved, scenario }) {
  if (scenario !== undefined) {
    const text = find("scenario-text");
    text.value = scenario;
    text.hidden = find("records").querySelector('label[for="scenario-text"]').hidden = false;
    text.focus();
  }
  if (saved === undefined) return;
  find("saved-runs").replaceChildren(...saved.map(row));
}

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
