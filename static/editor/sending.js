/* Actions on their way to the server, one after the other: each is made on the revision that the
   one before it left, and none is lost while the server can't be reached. */
import { byId, find, query } from "/static/dom.js";
/** @import { Action } from "/static/editor/actions.js" */

const editor = byId("editor", HTMLElement);
const answer = byId("editor-answer", HTMLElement);
const RETRY_MS = 1500;
const SAVING_MS = 300;

/** @type {Promise<unknown>} */
let queue = Promise.resolve();
let waiting = 0;
let connected = true;
/**
 * What was sent last, as `send` takes it.
 * @type {[action: Action | null, target: Element, address: string] | null}
 */
let last = null;
/** @type {(select: string | undefined) => void} */
let arrive = () => {};

/**
 * Set what is called after each answer.
 * @param {(select: string | undefined) => void} handler
 *     gets where the server puts the selection: rung and place, as in "2 path 1.0.0"
 */
export function onArrival(handler) {
  arrive = handler;
}

/**
 * Do something once everything before it is done. Return its result, undefined if it failed.
 * @template T
 * @param {() => T | Promise<T>} work
 * @returns {Promise<T | undefined>}
 */
export function inTurn(work) {
  waiting += 1;
  const turn = queue.then(work).catch(report).finally(() => (waiting -= 1));
  queue = turn;
  return turn;
}

/** @param {unknown} fault */
function report(fault) {
  console.error(fault);
  return undefined;
}

export const isWaiting = () => waiting > 0;
export const allDone = () => queue;
const status = () => byId("editor-status", HTMLElement).dataset;
export const revision = () => status().revision ?? "";

/**
 * Send one action. Return whether it was done.
 * @param {Action | null} action  null for an address that needs none
 * @param {Element} target  shows the server's objections
 * @param {string} address  below the program's own
 */
export async function send(action, target = answer, address = "") {
  const before = revision();
  const shown = new Set(Array.from(rows(), content));
  last = [action, target, address];
  answer.replaceChildren();
  const pending = concerned(action);
  pending?.classList.add("pending");
  const saved = savedWords();
  const saving = setTimeout(() => tellSaving("Saving…"), SAVING_MS);
  let resent = false;
  do {
    connected = true;
    await htmx.ajax("POST", editor.dataset.editor + address, {
      source: answer, // small: the class of a running request makes the browser look at all inside
      target,
      swap: "innerHTML",
      values: { action: JSON.stringify(action), revision: before, resent },
    });
    // What was cut off may have been done all the same: the server looks.
    resent = !connected;
    // That the server can't be reached is not to be followed by 'Saving…'.
    clearTimeout(saving);
    if (!connected) await offline();
  } while (!connected);
  pending?.classList.remove("pending");
  const now = status();
  const { stale, select } = now;
  // Read only once: a refusal leaves the status as it is.
  delete now.stale;
  delete now.select;
  if (stale) {
    markElsewhere(shown);
    // Whoever chose a dialog's step has left the dialog: the choice stands on the sheet.
    answer.replaceChildren(...target.childNodes);
    last[1] = answer;
  }
  const done = revision() !== before && !stale;
  if (stale) tellSaving("Changed in another window", "advice");
  else if (!done) tellSaving(saved, "", false);
  if (done) target.replaceChildren();
  arrive(select);
  return done;
}

/**
 * Return the element that an action names, or else its rung: it stands in lighter ink until the
 * server has answered.
 * @param {Action | null} action
 */
function concerned(action) {
  const whole = action?.action === "together" ? action.actions[action.actions.length - 1] : action;
  const row = whole && "rung" in whole ? rows()[whole.rung] : undefined;
  const path = whole && "path" in whole && whole.path ? whole.path.join(".") : null;
  return (row && path !== null && find(row, `[data-path="${path}"]`, SVGElement)) || row;
}

/* The last action once more, on the program as it is now. */
export const sendAgain = () => inTurn(() => (last ? send(...last) : false));

/* How the program is kept stands in the bar, which is in view wherever one works. */
const savedWords = () => query(byId("editor-status", HTMLElement), ".saved", HTMLElement).textContent;

/** @param {string} words @param {"" | "advice"} state @param {boolean} aloud */
export function tellSaving(words, state = "", aloud = true) {
  const saved = query(byId("editor-status", HTMLElement), ".saved", HTMLElement);
  if (saved.textContent !== words) saved.textContent = words;
  saved.dataset.state = state;
  if (aloud) query(byId("editor-status", HTMLElement), "[role=status]", HTMLElement).textContent = words;
}

async function offline() {
  tellSaving("Not saved: offline", "advice");
  const words = document.createElement("p");
  words.className = "notice advice";
  words.textContent = "Not saved: the server can't be reached. Go on: every step is kept and sent when it answers.";
  answer.replaceChildren(words);
  await new Promise((resolve) => setTimeout(resolve, RETRY_MS));
  answer.replaceChildren();
}

document.addEventListener("htmx:error", () => (connected = false));

const rows = () => /** @type {HTMLCollectionOf<HTMLElement>} */ (byId("rungs", HTMLElement).children);

/** @param {HTMLElement} row */
const content = (row) => [row.dataset.text, row.dataset.comment, row.dataset.serves].join("\n");

/** @param {Set<string>} shown  what the rows held before the answer */
function markElsewhere(shown) {
  for (const row of rows()) row.classList.toggle("elsewhere", !shown.has(content(row)));
}
