/* Actions on their way to the server, one after the other: each is made on the revision that the
   one before it left, and none is lost while the server can't be reached. */
const editor = document.getElementById("editor");
const answer = document.getElementById("editor-answer");
const RETRY_MS = 1500;

let queue = Promise.resolve();
let waiting = 0;
let connected = true;
let last = null;
let arrive = () => {};

/* `handler(select)` is asked after each answer; `select` is where the server puts the selection. */
export function onArrival(handler) {
  arrive = handler;
}

/* Do something once everything before it is done; gives what it gives. */
export function inTurn(work) {
  waiting += 1;
  queue = queue.then(work).catch((fault) => console.error(fault)).finally(() => (waiting -= 1));
  return queue;
}

export const isWaiting = () => waiting > 0;
export const allDone = () => queue;
export const revision = () => document.getElementById("editor-status").dataset.revision;

/* Send one action; true if it was done. `target` shows what the server has against it. */
export async function send(action, target = answer, address = "") {
  const before = revision();
  const shown = new Set(Array.from(rows(), content));
  last = [action, target, address];
  answer.replaceChildren();
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
    if (!connected) await offline();
  } while (!connected);
  const status = document.getElementById("editor-status").dataset;
  const { stale, select } = status;
  // Told once: a refusal leaves the status as it is.
  delete status.stale;
  delete status.select;
  if (stale) {
    markElsewhere(shown);
    // Whoever chose a dialog's step has left the dialog: the choice stands on the sheet.
    answer.replaceChildren(...target.childNodes);
    last[1] = answer;
  }
  const done = revision() !== before && !stale;
  if (done) target.replaceChildren();
  arrive(select);
  return done;
}

/* The last action once more, on the program as it is now. */
export const sendAgain = () => inTurn(() => send(...last));

async function offline() {
  const words = document.createElement("p");
  words.className = "notice advice";
  words.textContent = "Not saved: the server can't be reached. Go on: every step is kept and sent when it answers.";
  answer.replaceChildren(words);
  await new Promise((resolve) => setTimeout(resolve, RETRY_MS));
  answer.replaceChildren();
}

document.addEventListener("htmx:error", () => (connected = false));

const rows = () => document.getElementById("rungs").children;
const content = (row) => [row.dataset.text, row.dataset.comment, row.dataset.serves].join("\n");

function markElsewhere(shown) {
  for (const row of rows()) row.classList.toggle("elsewhere", !shown.has(content(row)));
}
