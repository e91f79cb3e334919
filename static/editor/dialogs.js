/* The editor's dialogs: a rung as text, its comment, a declaration, the list of commands. */
const dialog = (id) => document.getElementById(id);

let commits = {};

/* `handlers[id](form, answer, remove)` does what a dialog was committed for. */
export function onCommit(handlers) {
  commits = handlers;
}

for (const each of document.querySelectorAll(".sheet-dialog")) {
  each.querySelector("[data-cancel]").addEventListener("click", () => each.close());
  const form = each.querySelector("form");
  if (!form) continue;
  // It closes at once, so that the next key is not typed into it; what is refused opens it again.
  const commit = async (remove) => {
    const answer = form.querySelector("[data-answer]");
    each.close();
    await commits[each.id](form, answer, remove);
    if (answer.querySelector(".notice") && !each.open) each.showModal();
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    commit(false);
  });
  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !(event.ctrlKey || event.metaKey)) return;
    event.preventDefault();
    commit(false);
  });
  each.querySelector("[data-remove]")?.addEventListener("click", () => commit(true));
}

/* Open a dialog on what a rung holds. It opens at once, so that no key is lost; what the rung holds
   comes when everything before it is done, and leaves alone what was typed meanwhile. */
export async function ask(id, coming) {
  const opened = dialog(id);
  const words = opened.querySelector("textarea");
  const boxes = [...opened.querySelectorAll("[name=serves]")];
  opened.querySelector("form").reset();
  opened.querySelector("[data-answer]").replaceChildren();
  opened.showModal();
  words.focus();
  const row = await coming;
  if (!row) return opened.close();
  words.value ||= id === "rung-text" ? row.dataset.text : row.dataset.comment;
  const serves = row.dataset.serves.split(" ");
  for (const box of boxes) box.checked ||= serves.includes(box.value);
  if (id === "rung-text") preview();
}

/* Open the declaration of a table row, or an empty one. */
export function askDeclaration(row) {
  const opened = dialog("declaration");
  const form = opened.querySelector("form");
  const data = row?.dataset || {};
  form.reset();
  form.dataset.was = data.symbol || "";
  for (const name of ["symbol", "address", "initial", "comment"]) form.elements[name].value = data[name] || "";
  form.elements.type.value = data.type || "BOOL";
  form.elements.retain.checked = data.retain === "yes";
  form.querySelector("[data-remove]").hidden = !row;
  form.querySelector("[data-answer]").replaceChildren();
  opened.showModal();
  form.elements.symbol.focus();
}

/* ---- a rung is drawn while one types --------------------------------------------------------- */

const field = document.getElementById("rung-text-field");
let asked = 0;

function preview() {
  const number = (asked += 1);
  setTimeout(() => {
    if (number !== asked) return;
    htmx.ajax("POST", `${document.getElementById("editor").dataset.editor}/preview`, {
      source: field,
      target: document.getElementById("rung-preview"),
      swap: "innerMorph",
      values: { text: field.value },
    });
  }, 60);
}

field.addEventListener("input", preview);

/* ---- the list of commands -------------------------------------------------------------------- */

const search = document.getElementById("command-search");
const options = [...document.querySelectorAll("#command-options [role=option]")];
let chosen = null;
let runChosen = () => {};

export function listCommands(run) {
  runChosen = run;
  search.value = "";
  filter();
  dialog("command-list").showModal();
  search.focus();
}

function filter() {
  const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
  for (const option of options) option.hidden = !words.every((word) => option.dataset.words.includes(word));
  for (const group of document.querySelectorAll("#command-options [role=group]")) {
    group.hidden = !group.querySelector("[role=option]:not([hidden])");
  }
  choose(visible()[0]);
}

const visible = () => options.filter((option) => !option.hidden);

function choose(option) {
  chosen?.setAttribute("aria-selected", "false");
  chosen = option || null;
  chosen?.setAttribute("aria-selected", "true");
  search.setAttribute("aria-activedescendant", chosen?.id || "");
  chosen?.scrollIntoView({ block: "nearest" });
}

function perform(option) {
  if (!option) return;
  dialog("command-list").close();
  runChosen(option.dataset.run);
}

search.addEventListener("input", filter);
search.addEventListener("keydown", (event) => {
  const shown = visible();
  if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    const step = event.key === "ArrowDown" ? 1 : -1;
    choose(shown[(shown.indexOf(chosen) + step + shown.length) % shown.length]);
  } else if (event.key === "Enter") {
    perform(chosen);
  } else {
    return;
  }
  event.preventDefault();
});
document.getElementById("command-options").addEventListener("click", (event) => {
  perform(event.target.closest("[role=option]"));
});
