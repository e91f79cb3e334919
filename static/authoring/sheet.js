/* The author's sheet: every change goes to the server in turn and the sheet comes back whole. What
   is typed elsewhere meanwhile stays; a change that is refused stays in its field. */
import { timeline } from "./timeline.js";

const sheet = () => document.getElementById("authoring");
const POLL_MS = 1200;
const LONGEST_PRESS_MS = 2000;

let queue = Promise.resolve();

/* A field that is left by a click is sent once the click is done: what is under the pointer stays
   there until then. */
let released = Promise.resolve();
document.addEventListener("pointerdown", () => {
  released = new Promise((done) => {
    for (const name of ["pointerup", "pointercancel"]) {
      document.addEventListener(name, () => setTimeout(done), { once: true });
    }
    setTimeout(done, LONGEST_PRESS_MS);
  });
});

function send(change) {
  queue = queue
    .then(() => released)
    .then(() =>
      htmx.ajax("POST", `${sheet().dataset.address}/change`, {
        source: sheet(), // each kind of request has its own: those that share one drop each other
        target: "#authoring",
        swap: "outerMorph",
        values: { change: JSON.stringify(change), revision: sheet().dataset.revision },
      }),
    )
    .then(() => queueUp())
    .catch((fault) => console.error(fault));
  return queue;
}

document.addEventListener("change", (event) => {
  const control = event.target;
  if (!control.closest?.("#authoring")) return;
  if (control.dataset.path !== undefined) {
    const value = control.type === "checkbox" ? (control.checked ? "yes" : "") : control.value;
    send({ do: "set", path: JSON.parse(control.dataset.path), value });
  } else if (control.dataset.do !== undefined) {
    send({ do: control.dataset.do, path: JSON.parse(control.dataset.at), value: control.value });
  }
});

document.addEventListener("click", (event) => {
  const button = event.target.closest?.("#authoring button[data-do]");
  if (!button) return;
  const source = button.dataset.from && document.getElementById(button.dataset.from);
  const value = source ? source.value : button.dataset.value || "";
  const path = button.dataset.at ? JSON.parse(button.dataset.at) : [];
  const revision = sheet().dataset.revision;
  const follow = following(button, path);
  send({ do: button.dataset.do, path, value }).then(() => {
    if (sheet().dataset.revision === revision) return;
    if (source && source.tagName !== "SELECT") source.value = "";
    // Who has gone on to something else meanwhile is not called back.
    if ([button, document.body].includes(document.activeElement)) follow();
  });
});

/* Where the focus goes after a button's change: to what was added, with what was moved, and from
   what was removed to what stands in its place. */
const FIELDS = "#authoring [data-path], #authoring textarea[data-do]";
const controls = () => [...document.querySelectorAll(FIELDS)];
const within = (part, selector) => [...document.querySelectorAll(`#${part} ${selector}`)];
const at = (button) => JSON.parse(button.dataset.at);
const same = (one, other) => JSON.stringify(one) === JSON.stringify(other);

function following(button, path) {
  const act = button.dataset.do;
  const part = button.closest("section.part").id;
  const alike = () =>
    within(part, `button[data-do="${act}"]`).filter(
      (other) =>
        other.dataset.value === button.dataset.value && same(at(other).slice(0, -1), path.slice(0, -1)),
    );
  if (act === "remove" || act === "remove program") {
    const place = alike().indexOf(button);
    return () => {
      const left = alike();
      focus(left[Math.min(place, left.length - 1)] || within(part, 'button[data-do^="add"]')[0]);
    };
  }
  if (act === "move") {
    const to = Math.max(0, path.at(-1) + (button.dataset.value === "up" ? -1 : 1));
    return () => focus(alike().find((other) => at(other).at(-1) === to) || button);
  }
  const before = new Set(controls().map((control) => control.id));
  return () => focus(controls().find((control) => !before.has(control.id)) || button);
}

function focus(control) {
  for (let up = control; up; up = up.parentElement) if (up.tagName === "DETAILS") up.open = true;
  control?.focus();
}

timeline((path, by) => send({ do: "shift", path, value: String(by) }));

/* The statement is shown as it is typed. */
let typing = 0;
document.addEventListener("input", (event) => {
  if (event.target.dataset?.path !== '["statement"]') return;
  clearTimeout(typing);
  typing = setTimeout(() => {
    htmx.ajax("POST", `${sheet().dataset.address}/statement`, {
      source: "#statement-preview",
      target: "#statement-preview",
      swap: "innerHTML",
      values: { statement: event.target.value },
    });
  }, 400);
});

/* Ask how far the look into the exercise is, until it is complete; then what it may become. */
let asking = 0;
const get = (part) =>
  htmx.ajax("GET", `${sheet().dataset.address}/${part}`, {
    source: `#${part}`,
    target: `#${part}`,
    swap: "outerMorph",
  });

function watch() {
  clearTimeout(asking);
  const looking = document.getElementById("findings")?.dataset.complete === "no";
  const marking = document.getElementById("life").dataset.complete === "no";
  if (looking || marking) asking = setTimeout(() => queueUp(), POLL_MS);
}

function queueUp() {
  queue = queue
    .then(() => document.getElementById("findings")?.dataset.complete === "no" && get("findings"))
    .then(() => get("life"))
    .then(watch)
    .catch((fault) => console.error(fault));
}

queueUp();
document.documentElement.classList.add("authoring-ready");
