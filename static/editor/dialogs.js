/* The editor's dialogs: a rung as text, its comment, a declaration, the list of commands. */
import { byId, closest, find, query, queryAll } from "/static/dom.js";
/** @import { Declaration } from "/static/editor/actions.js" */

/**
 * Do what a dialog was committed for; `answer` shows the server's objections.
 * @typedef {(form: HTMLFormElement, answer: HTMLElement, remove: boolean) => unknown} Commit
 */

/** @param {string} id */
const dialog = (id) => byId(id, HTMLDialogElement);

/** @type {Record<string, Commit>} */
let commits = {};
/** @type {(dialog: HTMLDialogElement) => void} */
let close = (opened) => opened.close();

/**
 * Set what is done with the dialogs.
 * @param {Record<string, Commit>} handlers  by the id of the dialog
 * @param {(dialog: HTMLDialogElement) => void} closing  closes one and settles the focus
 */
export function onCommit(handlers, closing) {
  commits = handlers;
  close = closing;
}

for (const each of queryAll(document, ".sheet-dialog", HTMLDialogElement)) {
  query(each, "[data-cancel]", HTMLButtonElement).addEventListener("click", () => close(each));
  each.addEventListener("cancel", (event) => {
    event.preventDefault();
    close(each);
  });
  const form = find(each, "form", HTMLFormElement);
  if (!form) continue;
  // It closes at once, so that the next key is not typed into it; what is refused opens it again.
  /** @param {boolean} remove */
  const commit = async (remove) => {
    const answer = query(form, "[data-answer]", HTMLElement);
    close(each);
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

/**
 * Open a dialog on what a rung holds. It opens at once, so that no key is lost; what the rung holds
 * comes when everything before it is done, and leaves alone what was typed meanwhile.
 * @param {"rung-text" | "rung-comment"} id
 * @param {Promise<HTMLElement | undefined>} coming  the row of the rung
 */
export async function ask(id, coming) {
  const opened = dialog(id);
  const words = query(opened, "textarea", HTMLTextAreaElement);
  const boxes = queryAll(opened, "[name=serves]", HTMLInputElement);
  query(opened, "form", HTMLFormElement).reset();
  query(opened, "[data-answer]", HTMLElement).replaceChildren();
  opened.showModal();
  words.focus();
  const row = await coming;
  if (!row) return close(opened);
  words.value ||= (id === "rung-text" ? row.dataset.text : row.dataset.comment) ?? "";
  const serves = (row.dataset.serves ?? "").split(" ");
  for (const box of boxes) box.checked ||= serves.includes(box.value);
  if (id === "rung-text") preview();
}

/**
 * Open the declaration of a table row, or an empty one.
 * @param {HTMLElement | null} row
 */
export function askDeclaration(row) {
  const opened = dialog("declaration");
  const form = query(opened, "form", HTMLFormElement);
  /** @param {string} name */
  const input = (name) => query(form, `[name=${name}]`, HTMLInputElement);
  const data = row?.dataset || {};
  form.reset();
  form.dataset.was = data.symbol || "";
  for (const name of ["symbol", "address", "initial", "comment"]) input(name).value = data[name] || "";
  query(form, "[name=type]", HTMLSelectElement).value = data.type || "BOOL";
  input("retain").checked = data.retain === "yes";
  query(form, "[data-remove]", HTMLButtonElement).hidden = !row;
  query(form, "[data-answer]", HTMLElement).replaceChildren();
  opened.showModal();
  input("symbol").focus();
}

/**
 * Return the declaration that was typed.
 * @param {HTMLFormElement} form
 * @returns {Declaration}
 */
export function declarationOf(form) {
  const data = new FormData(form);
  /** @param {string} name */
  const text = (name) => String(data.get(name) ?? "");
  return {
    symbol: text("symbol"),
    type: text("type"),
    address: text("address").trim() || null,
    initial: text("initial"),
    comment: text("comment"),
    retain: data.has("retain"),
  };
}

/* ---- a rung is drawn as it is typed ---------------------------------------------------------- */

const field = byId("rung-text-field", HTMLTextAreaElement);
let asked = 0;

function preview() {
  const number = (asked += 1);
  setTimeout(() => {
    if (number !== asked) return;
    htmx.ajax("POST", `${byId("editor", HTMLElement).dataset.editor}/preview`, {
      source: field,
      target: byId("rung-preview", HTMLElement),
      swap: "innerMorph",
      values: { text: field.value },
    });
  }, 60);
}

field.addEventListener("input", preview);

/* ---- the list of commands -------------------------------------------------------------------- */

const search = byId("command-search", HTMLInputElement);
const options = queryAll(document, "#command-options [role=option]", HTMLElement);
/** @type {HTMLElement | null} */
let chosen = null;
/** @type {(command: string) => void} */
let runChosen = () => {};

/** @param {(command: string) => void} run  gets the id of the command that is chosen */
export function listCommands(run) {
  runChosen = run;
  search.value = "";
  filter();
  dialog("command-list").showModal();
  search.focus();
}

function filter() {
  const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
  for (const option of options) option.hidden = !words.every((word) => option.dataset.words?.includes(word));
  for (const group of queryAll(document, "#command-options [role=group]", HTMLElement)) {
    group.hidden = !group.querySelector("[role=option]:not([hidden])");
  }
  choose(visible()[0]);
}

const visible = () => options.filter((option) => !option.hidden);

/** @param {HTMLElement | undefined} option */
function choose(option) {
  chosen?.setAttribute("aria-selected", "false");
  chosen = option || null;
  chosen?.setAttribute("aria-selected", "true");
  search.setAttribute("aria-activedescendant", chosen?.id || "");
  chosen?.scrollIntoView({ block: "nearest" });
}

/** @param {HTMLElement | null} option */
function perform(option) {
  if (!option) return;
  close(dialog("command-list"));
  runChosen(option.dataset.run ?? "");
}

search.addEventListener("input", filter);
search.addEventListener("keydown", (event) => {
  const shown = visible();
  if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    const step = event.key === "ArrowDown" ? 1 : -1;
    const at = chosen ? shown.indexOf(chosen) : -1;
    choose(shown[(at + step + shown.length) % shown.length]);
  } else if (event.key === "Enter") {
    perform(chosen);
  } else {
    return;
  }
  event.preventDefault();
});
byId("command-options", HTMLElement).addEventListener("click", (event) => {
  perform(closest(event.target, "[role=option]", HTMLElement));
});
