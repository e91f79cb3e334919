/* The author's sheet: every change goes to the server in turn and the sheet comes back whole. What
   is typed elsewhere meanwhile stays; a change that is refused stays in its field. */
import { timeline } from "/static/authoring/timeline.js";
import { byId, closest, queryAll } from "/static/dom.js";

/**
 * Where something stands in the exercise file: keys and numbers from 0.
 * @typedef {(string | number)[]} FieldPath
 */
/**
 * A change of the exercise file; server/web/authoring/changes.py has what `do` can be.
 * @typedef {{ do: string, path: FieldPath, value: string }} Change
 */
/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Field */
/** @type {[typeof HTMLInputElement, typeof HTMLSelectElement, typeof HTMLTextAreaElement]} */
const FIELD = [HTMLInputElement, HTMLSelectElement, HTMLTextAreaElement];

const sheet = () => byId("authoring", HTMLElement);
const POLL_MS = 1200;
const LONGEST_PRESS_MS = 2000;

/** @type {Promise<void>} */
let queue = Promise.resolve();

/* A field that is left by a click is sent once the click is done: what is under the pointer stays
   there until then. */
/** @type {Promise<void>} */
let released = Promise.resolve();
document.addEventListener("pointerdown", () => {
  released = new Promise((done) => {
    for (const name of ["pointerup", "pointercancel"]) {
      document.addEventListener(name, () => setTimeout(done), { once: true });
    }
    setTimeout(done, LONGEST_PRESS_MS);
  });
});

/** @param {Change} change */
function send(change) {
  queue = queue
    .then(() => released)
    .then(() =>
      htmx.ajax("POST", `${sheet().dataset.address}/change`, {
        source: sheet(), // each kind of request has its own: those that share one drop each other
        target: "#authoring",
        swap: "outerMorph",
        values: { change: JSON.stringify(change), revision: sheet().dataset.revision ?? "" },
      }),
    )
    .then(() => queueUp())
    .catch((fault) => console.error(fault));
  return queue;
}

document.addEventListener("change", (event) => {
  const field = closest(event.target, "#authoring :is(input, select, textarea)", ...FIELD);
  if (!field) return;
  if (field.dataset.path !== undefined) {
    send({ do: "set", path: JSON.parse(field.dataset.path), value: valueOf(field) });
  } else if (field.dataset.do !== undefined) {
    send({ do: field.dataset.do, path: at(field), value: field.value });
  }
});

/** @param {Field} field */
function valueOf(field) {
  if (field instanceof HTMLInputElement && field.type === "checkbox") return field.checked ? "yes" : "";
  return field.value;
}

document.addEventListener("click", (event) => {
  const button = closest(event.target, "#authoring button[data-do]", HTMLButtonElement);
  if (!button) return;
  const source = button.dataset.from ? byId(button.dataset.from, ...FIELD) : null;
  const value = source ? source.value : button.dataset.value || "";
  const path = at(button);
  const revision = sheet().dataset.revision;
  const follow = following(button, path);
  send({ do: button.dataset.do ?? "", path, value }).then(() => {
    if (sheet().dataset.revision === revision) return;
    if (source && !(source instanceof HTMLSelectElement)) source.value = "";
    // The focus stays with a person who has gone on to something else meanwhile.
    if (document.activeElement === button || document.activeElement === document.body) follow();
  });
});

/* Where the focus goes after a button's change: to what was added, with what was moved, and from
   what was removed to what stands in its place. */
const FIELDS = "#authoring :is(input, select, textarea):is([data-path], [data-do])";
const fields = () => queryAll(document, FIELDS, ...FIELD);

/**
 * Return the path of what a button or a field changes; empty for the exercise itself.
 * @param {HTMLElement} control
 * @returns {FieldPath}
 */
const at = (control) => JSON.parse(control.dataset.at || "[]");

/** @param {FieldPath} one @param {FieldPath} other */
const same = (one, other) => JSON.stringify(one) === JSON.stringify(other);

/**
 * Return what moves the focus once the change of a button is done.
 * @param {HTMLButtonElement} button
 * @param {FieldPath} path
 */
function following(button, path) {
  const act = button.dataset.do;
  const part = closest(button, "section.part", HTMLElement)?.id;
  const alike = () =>
    queryAll(document, `#${part} button[data-do="${act}"]`, HTMLButtonElement).filter(
      (other) =>
        other.dataset.value === button.dataset.value && same(at(other).slice(0, -1), path.slice(0, -1)),
    );
  if (act === "remove" || act === "remove program") {
    const place = alike().indexOf(button);
    return () => {
      const left = alike();
      const add = () => queryAll(document, `#${part} button[data-do^="add"]`, HTMLButtonElement)[0];
      focus(left[Math.min(place, left.length - 1)] || add());
    };
  }
  if (act === "move") {
    const to = Math.max(0, Number(path.at(-1)) + (button.dataset.value === "up" ? -1 : 1));
    return () => focus(alike().find((other) => at(other).at(-1) === to) || button);
  }
  const before = new Set(fields().map((field) => field.id));
  return () => focus(fields().find((field) => !before.has(field.id)) || button);
}

/**
 * Open what is folded around a control and focus it.
 * @param {HTMLElement | undefined} control
 */
function focus(control) {
  for (let up = control?.parentElement; up; up = up.parentElement) {
    if (up instanceof HTMLDetailsElement) up.open = true;
  }
  control?.focus();
}

timeline((path, by) => send({ do: "shift", path, value: String(by) }));

/* The statement is shown as it is typed. */
let typing = 0;
document.addEventListener("input", (event) => {
  const statement = closest(event.target, `[data-path='["statement"]']`, ...FIELD);
  if (!statement) return;
  clearTimeout(typing);
  typing = setTimeout(() => {
    htmx.ajax("POST", `${sheet().dataset.address}/statement`, {
      source: "#statement-preview",
      target: "#statement-preview",
      swap: "innerHTML",
      values: { statement: statement.value },
    });
  }, 400);
});

/* Ask how far the examination of the exercise is, until it is complete; then what it may become. */
let asking = 0;
/** @param {"findings" | "life"} part */
const get = (part) =>
  htmx.ajax("GET", `${sheet().dataset.address}/${part}`, {
    source: `#${part}`,
    target: `#${part}`,
    swap: "outerMorph",
  });

function watch() {
  clearTimeout(asking);
  const marking = byId("life", HTMLElement).dataset.complete === "no";
  if (isExamined() || marking) asking = setTimeout(() => queueUp(), POLL_MS);
}

/* A sheet whose text can't be read has no findings. */
const isExamined = () => document.getElementById("findings")?.dataset.complete === "no";

function queueUp() {
  queue = queue
    .then(() => (isExamined() ? get("findings") : undefined))
    .then(() => get("life"))
    .then(watch)
    .catch((fault) => console.error(fault));
}

queueUp();
document.documentElement.classList.add("authoring-ready");
