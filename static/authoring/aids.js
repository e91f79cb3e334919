/* Help beside each field, an example that is put in, and signals that are put in at the cursor. */
import { byId, closest, queryAll } from "/static/dom.js";

/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Field */
/** @type {[typeof HTMLInputElement, typeof HTMLSelectElement, typeof HTMLTextAreaElement]} */
const FIELD = [HTMLInputElement, HTMLSelectElement, HTMLTextAreaElement];

/** The field for which an aid is open. */
let field = "";

document.addEventListener("click", (event) => {
  const aid = closest(event.target, "button[data-aid]", HTMLButtonElement);
  const put = closest(event.target, "#field-help [data-put]", HTMLButtonElement);
  const signal = closest(event.target, "#signals [data-signal]", HTMLButtonElement);
  const to = closest(event.target, "a[data-goto]", HTMLAnchorElement);
  if (aid) open(aid);
  else if (put) fill(closest(put, "section", HTMLElement)?.querySelector("pre")?.textContent ?? "");
  else if (signal) insert(signal.dataset.signal ?? "");
  else if (to) {
    event.preventDefault();
    reveal(byId(to.dataset.goto ?? "", ...FIELD));
  }
});

/** @param {HTMLButtonElement} aid */
function open(aid) {
  field = aid.dataset.for ?? "";
  const shown = byId(aid.dataset.aid === "help" ? "field-help" : "signals", HTMLElement);
  if (aid.dataset.aid === "help") {
    const help = queryAll(document, "#field-helps > section", HTMLElement).find(
      (each) => each.dataset.about === aid.dataset.about,
    );
    shown.replaceChildren(...(help ? [help.cloneNode(true)] : []));
  }
  shown.showPopover({ source: aid });
  const place = aid.getBoundingClientRect();
  const left = Math.max(8, Math.min(place.left, innerWidth - shown.offsetWidth - 8));
  const below = place.bottom + 4;
  const top = below + shown.offsetHeight > innerHeight ? place.top - shown.offsetHeight - 4 : below;
  shown.style.left = `${left}px`;
  shown.style.top = `${Math.max(8, top)}px`;
  queryAll(shown, "button, a", HTMLElement)[0]?.focus();
}

/**
 * Put a value in as if it had been typed.
 * @param {string} value
 */
function fill(value) {
  const target = byId(field, ...FIELD);
  target.value = value;
  byId("field-help", HTMLElement).hidePopover();
  target.focus();
  target.dispatchEvent(new Event("change", { bubbles: true }));
}

/**
 * Put a signal in: a condition takes it at the cursor, a list of controls behind the others.
 * @param {string} signal
 */
function insert(signal) {
  const target = byId(field, ...FIELD);
  const entry = closest(target, ".entry", HTMLElement);
  byId("signals", HTMLElement).hidePopover();
  if (target instanceof HTMLSelectElement || !entry) return;
  const listed = ["names", "map"].find((shape) => entry.classList.contains(shape));
  if (listed) {
    const name = signal.replace(/^panel\./, "");
    target.value = `${target.value}${target.value.trim() ? ", " : ""}${name}${listed === "map" ? ": " : ""}`;
  } else {
    const at = target.selectionStart ?? target.value.length;
    const [before, behind] = [target.value.slice(0, at), target.value.slice(target.selectionEnd ?? at)];
    const gap = before && !/[\s(]$/.test(before) ? " " : "";
    target.value = `${before}${gap}${signal}${behind}`;
  }
  target.focus();
  // What is to be completed is sent once it is.
  if (listed !== "map") target.dispatchEvent(new Event("change", { bubbles: true }));
}

/** @param {Field} target */
function reveal(target) {
  for (let up = target.parentElement; up; up = up.parentElement) {
    if (up instanceof HTMLDetailsElement) up.open = true;
  }
  target.scrollIntoView({ block: "center" });
  target.focus();
}
