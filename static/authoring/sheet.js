/* The author's sheet: every change goes to the server in turn and the sheet comes back whole. What
   is typed elsewhere meanwhile stays; a change that is refused stays in its field. */
const sheet = () => document.getElementById("authoring");
const POLL_MS = 1200;
const OPENED = { "add scenario": ".scenario-block", "add recorded": ".scenario-block" };
/* What is added last stands open. */

let queue = Promise.resolve();

function send(change) {
  queue = queue
    .then(() =>
      htmx.ajax("POST", `${sheet().dataset.address}/change`, {
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
  send({ do: button.dataset.do, path, value }).then(() => {
    if (source && source.tagName !== "SELECT" && sheet().dataset.revision !== revision) {
      source.value = "";
    }
    const part = OPENED[button.dataset.do];
    const added = part && [...document.querySelectorAll(part)].at(-1);
    if (added) added.open = true;
  });
});

/* The statement is shown as it is typed. */
let typing = 0;
document.addEventListener("input", (event) => {
  if (event.target.dataset?.path !== '["statement"]') return;
  clearTimeout(typing);
  typing = setTimeout(() => {
    htmx.ajax("POST", `${sheet().dataset.address}/statement`, {
      target: "#statement-preview",
      swap: "innerHTML",
      values: { statement: event.target.value },
    });
  }, 400);
});

/* Ask how far the look into the exercise is, until it is complete; then what it may become. */
let asking = 0;
const get = (part) =>
  htmx.ajax("GET", `${sheet().dataset.address}/${part}`, { target: `#${part}`, swap: "outerMorph" });

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
