/* The rung editor in the browser: commands, keyboard and pointer.

   The server alone knows programs. Each action is one POST with the revision that this window
   shows; the answer holds only what changed. Actions wait for each other, so that each is made on
   the state and the selection that the one before it left. */
import { ask, askDeclaration, listCommands, onCommit } from "/static/editor/dialogs.js";
import { Entry } from "/static/editor/entry.js";
import { Selection } from "/static/editor/selection.js";

const editor = document.getElementById("editor");
const frame = editor.querySelector(".rungs-frame");
const answer = document.getElementById("editor-answer");
const selection = new Selection(() => document.getElementById("rungs"));
const entry = new Entry(() => selection.select(selection.place));
const RETRY_MS = 1500;

/* ---- actions ---------------------------------------------------------------------------------- */

let queue = Promise.resolve();
let waiting = 0;
let connected = true;
let last = null;

/* Do something once everything before it is done. */
function inTurn(work) {
  waiting += 1;
  queue = queue.then(work).catch((fault) => console.error(fault)).finally(() => (waiting -= 1));
  return queue;
}

const revision = () => document.getElementById("editor-status").dataset.revision;

/* Send one action; true if it was done. `target` shows what the server has against it. */
async function send(action, target = answer, address = "") {
  const before = revision();
  const shown = new Set(selection.rows.map(content));
  last = [action, target, address];
  answer.replaceChildren();
  do {
    connected = true;
    await htmx.ajax("POST", editor.dataset.editor + address, {
      source: editor,
      target,
      swap: "innerHTML",
      values: { action: JSON.stringify(action), revision: before },
    });
    if (!connected) await offline();
  } while (!connected);
  const status = document.getElementById("editor-status").dataset;
  if (status.stale) markElsewhere(shown);
  const done = revision() !== before && !status.stale;
  if (done) target.replaceChildren();
  arrive(status.select);
  return done;
}

/* After a swap: numbers, selection, and the revision that the form for submitting hands in. */
function arrive(select) {
  const typing = document.activeElement?.closest("#entry, dialog");
  selection.refresh();
  markConcerned();
  if (select) {
    const [rung, ...at] = select.split(" ");
    selection.select({ rung: Number(rung), at: at.join(" ") }, { focus: !typing });
  } else if (!typing && !document.activeElement?.closest(".bench")) {
    selection.select(selection.place);
  }
  for (const field of document.querySelectorAll("[data-revision-field]")) field.value = revision();
}

/* Mark in the drawing what a remark concerns; a note concerns nobody so much. */
function markConcerned() {
  for (const stop of frame.querySelectorAll(".concerned")) stop.classList.remove("concerned", "error");
  for (const remark of frame.querySelectorAll(".remark[data-at]:not(.note)")) {
    const stop = concerned(remark);
    stop?.classList.add("concerned");
    stop?.classList.toggle("error", remark.matches(".error"));
  }
}

function concerned(remark) {
  const [kind, name] = remark.dataset.at.split(" ");
  return remark.closest(".rung-row").querySelector(`[data-${kind}="${name}"]`);
}

async function offline() {
  const words = document.createElement("p");
  words.className = "notice advice";
  words.textContent = "Not saved: the server can't be reached. Your last step is kept and sent again by itself.";
  answer.replaceChildren(words);
  await new Promise((resolve) => setTimeout(resolve, RETRY_MS));
  answer.replaceChildren();
}

document.addEventListener("htmx:error", () => (connected = false));

const content = (row) => [row.dataset.text, row.dataset.comment, row.dataset.serves].join("\n");

function markElsewhere(shown) {
  for (const row of selection.rows) row.classList.toggle("elsewhere", !shown.has(content(row)));
}

/* ---- actions of the core, for what is selected ------------------------------------------------- */

const numbers = (name) => name.split(".").map(Number);

/* The path or the output number that is selected. */
function selected() {
  const { rung, at } = selection.place;
  const [kind, name] = at.split(" ");
  return { rung, path: kind === "path" ? numbers(name) : null, output: kind === "output" ? Number(name) : null };
}

/* `make(selected())` gives the action once everything before it is done; null does nothing. */
function act(make, target) {
  return inTurn(() => {
    const action = make(selected());
    return action && send(action, target);
  });
}

/* An element into the rung; into a first rung where there is none yet. */
function inserting(element, where, { rung, path }) {
  const begun = selection.rows.length ? [] : [{ action: "add rung", at: 0 }];
  return together(begun, inserted(element, where, { rung: begun.length ? 0 : rung, path }));
}

function inserted(element, where, { rung, path }) {
  if (path && where === "parallel") return { action: "insert parallel", rung, element, ...selection.range(path) };
  if (path && where === "branch") return { action: "add branch", rung, path, element };
  return { action: "insert element", rung, path, element, side: where === "before" ? "before" : "after" };
}

function together(first, action) {
  return first.length ? { action: "together", actions: [...first, action] } : action;
}

/* The declaration of a block's instance, if it needs one. */
function declaring(element, type) {
  const instance = element.match(/^\w+/)?.[0].toLowerCase();
  const declared = document.querySelector(`#declarations tr[data-symbol="${instance}"]`);
  return type && instance && !declared ? [{ action: "declare", variable: { symbol: instance, type } }] : [];
}

/* Beside the item before or behind it in its series. */
function shifted({ rung, path }, step) {
  if (!path) return null;
  const to = [...path.slice(0, -1), path.at(-1) + step];
  if (to.at(-1) < 0) return null;
  return { action: "move element", rung, path, to_rung: rung, to_path: to, side: step < 0 ? "before" : "after" };
}

function moved(rung, to) {
  return to < 0 || to >= selection.rows.length ? null : { action: "move rung", rung, to };
}

function deleted({ rung, path, output }) {
  if (path) return { action: "delete elements", rung, first: path };
  if (output !== null) return { action: "delete output", rung, number: output };
  return selection.row ? { action: "delete rung", rung } : null;
}

/* ---- the field for one element ---------------------------------------------------------------- */

const WRAP = {
  closed: ["NOT ", ""],
  rising: ["RISING(", ")"],
  falling: ["FALLING(", ")"],
  negated: ["NOT ", ""],
  set: ["", " := TRUE"],
  reset: ["", " := FALSE"],
};
const CONTACTS = ["open", "closed", "rising", "falling"];
const COILS = ["coil", "negated", "set", "reset"];
const SYMBOL = /^[A-Za-z_][\w.]*$/;

/* A plain symbol gets what its kind writes around it; whoever types more has said it all. */
function wrapped(kind, text) {
  const [before, behind] = WRAP[kind] || ["", ""];
  return SYMBOL.test(text) ? before + text + behind : text;
}

/* The same contact or coil in its next kind; null for what has no kinds. */
function varied({ rung, path, output }) {
  const kinds = path ? CONTACTS : COILS;
  const text = selection.stop?.dataset.text || "";
  for (const [number, kind] of kinds.entries()) {
    const [before, behind] = WRAP[kind] || ["", ""];
    const symbol = text.slice(before.length, text.length - behind.length);
    if (!SYMBOL.test(symbol) || before + symbol + behind !== text) continue;
    const next = wrapped(kinds[(number + 1) % kinds.length], symbol);
    return path
      ? { action: "set element", rung, path, element: next }
      : { action: "set output", rung, number: output, output: next };
  }
  return null;
}

const place = () => editor.querySelector("[name=place]:checked").value;
const WHERE = {
  after: "after what is selected",
  before: "before what is selected",
  parallel: "in parallel",
  branch: "in a branch below",
};

function askElement(kind, label, { where = place(), type = "" } = {}) {
  openEntry({
    label: `${label}, ${WHERE[where]}`,
    type,
    make: (text, blockType) => (selected) =>
      together(declaring(text, blockType), inserting(wrapped(kind, text), where, selected)),
  });
}

function askOutput(kind, label) {
  openEntry({
    label,
    make: (text) => ({ rung }) =>
      selection.rows.length
        ? { action: "add output", rung, output: wrapped(kind, text) }
        : together([{ action: "add rung", at: 0 }], { action: "add output", rung: 0, output: wrapped(kind, text) }),
  });
}

function askChange() {
  const stop = selection.stop;
  if (!stop || !selection.place.at) return inTurn(() => selection.row && ask("rung-text", selection.row));
  openEntry({
    label: stop.getAttribute("aria-label"),
    text: stop.dataset.text,
    make: (text) => ({ rung, path, output }) =>
      path
        ? { action: "set element", rung, path, element: text }
        : { action: "set output", rung, number: output, output: text },
  });
}

/* Open the field at once, so that no key is lost; where the text goes is settled in its turn. */
function openEntry({ make, ...shown }) {
  const opened = {
    ...shown,
    stop: selection.stop || editor.querySelector(".rungs-frame"),
    commit: (text, type) => {
      inTurn(async () => {
        if (await send(make(text, type)(selected()))) return;
        const refused = [...answer.childNodes];
        if (!refused.length || entry.isOpen || answer.querySelector("[data-command]")) return;
        entry.reopen({ ...opened, text, type, stop: selection.stop || opened.stop }, refused);
      });
    },
  };
  entry.open(opened);
}

/* ---- commands --------------------------------------------------------------------------------- */

const COMMANDS = {
  open: () => askElement("open", "Normally open contact"),
  closed: () => askElement("closed", "Normally closed contact"),
  rising: () => askElement("rising", "Rising edge contact"),
  falling: () => askElement("falling", "Falling edge contact"),
  comparison: () => askElement("comparison", "Comparison like level > 500"),
  block: () => askElement("block", "Block", { type: "TON" }),
  coil: () => askOutput("coil", "Coil"),
  negated: () => askOutput("negated", "Negated coil"),
  set: () => askOutput("set", "Set coil"),
  reset: () => askOutput("reset", "Reset coil"),
  assignment: () => askOutput("assignment", "Assignment like count := count + 1"),
  "place-after": () => askElement("open", "Element", { where: "after" }),
  "place-before": () => askElement("open", "Element", { where: "before" }),
  "place-parallel": () => askElement("open", "Element", { where: "parallel" }),
  "place-branch": () => askElement("open", "Element", { where: "branch" }),
  mark: () => inTurn(() => selection.mark()),
  edit: askChange,
  vary: () => act(varied),
  left: () => act((selected) => shifted(selected, -1)),
  right: () => act((selected) => shifted(selected, 1)),
  delete: () => act(deleted),
  "rung-below": () => act(({ rung }) => ({ action: "add rung", at: selection.row ? rung + 1 : 0 })),
  "rung-above": () => act(({ rung }) => ({ action: "add rung", at: rung })),
  "rung-end": () => act(() => ({ action: "add rung", at: selection.rows.length })),
  "rung-delete": () => act(({ rung }) => selection.row && { action: "delete rung", rung }),
  text: () => inTurn(() => selection.row && ask("rung-text", selection.row)),
  comment: () => inTurn(() => selection.row && ask("rung-comment", selection.row)),
  duplicate: () => act(({ rung }) => selection.row && { action: "duplicate rung", rung }),
  up: () => act(({ rung }) => moved(rung, rung - 1)),
  down: () => act(({ rung }) => moved(rung, rung + 1)),
  undo: () => inTurn(() => send(null, answer, "/undo")),
  redo: () => inTurn(() => send(null, answer, "/redo")),
  declare: () => askDeclaration(null),
  declaration: (button) => askDeclaration(button.closest("tr")),
  commands: () => listCommands(run),
  again: () => inTurn(() => send(...last)),
  keep: () => answer.replaceChildren(),
};

function run(name, button) {
  COMMANDS[name](button);
}

onCommit({
  "rung-text": (form, target) =>
    act(({ rung }) => ({ action: "set rung", rung, text: form.querySelector("textarea").value }), target),
  "rung-comment": (form, target) =>
    act(({ rung }) => {
      const serves = new FormData(form).getAll("serves");
      const comment = form.querySelector("textarea").value;
      const actions = [
        { action: "set serves", rung, serves },
        { action: "set comment", rung, comment },
      ];
      return { action: "together", actions };
    }, target),
  declaration: (form, target, remove) => {
    const { symbol, type, address, initial, comment, retain } = Object.fromEntries(new FormData(form));
    const { was } = form.dataset;
    const variable = { symbol, type, address: address.trim() || null, initial, comment, retain: Boolean(retain) };
    if (remove) return act(() => ({ action: "delete variable", symbol: was }), target);
    return act(() => (was ? { action: "change variable", symbol: was, variable } : { action: "declare", variable }), target);
  },
});

/* ---- keyboard and pointer --------------------------------------------------------------------- */

const keys = new Map(
  [...document.querySelectorAll("#command-options [data-key]")].map((each) => [each.dataset.key, each.dataset.run]),
);
keys.set("F2", "edit").set("Backspace", "delete").set("Ctrl+Shift+z", "redo").set("/", "commands");
keys.set("p", "place-parallel");

const MOVES = { ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down" };

function spelt(event) {
  const letter = event.key.length === 1 && event.key.toLowerCase() !== event.key.toUpperCase();
  const shift = event.shiftKey && (letter || event.key.length > 1);
  const ctrl = event.ctrlKey || event.metaKey;
  return (ctrl ? "Ctrl+" : "") + (shift ? "Shift+" : "") + (letter ? event.key.toLowerCase() : event.key);
}

frame.addEventListener("keydown", (event) => {
  if (event.altKey || event.isComposing) return;
  const key = spelt(event);
  const move = MOVES[key];
  if (move) inTurn(() => selection.move(move));
  else if (key === "Home") inTurn(() => selection.first());
  else if (key === "End") inTurn(() => selection.last());
  else if (key === "Ctrl+Home") inTurn(() => selection.select({ rung: 0, at: "" }));
  else if (key === "Ctrl+End") inTurn(() => selection.select({ rung: Infinity, at: "" }));
  else if (keys.has(key)) run(keys.get(key));
  else return;
  event.preventDefault();
});

frame.addEventListener("focusin", (event) => selection.selectStop(event.target));
frame.addEventListener("click", (event) => {
  const remark = event.target.closest(".remark[data-at]");
  selection.selectStop((remark && concerned(remark)) || event.target);
});
frame.addEventListener("dblclick", (event) => selection.selectStop(event.target) && askChange());

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-command]");
  if (button && !button.disabled) run(button.dataset.command, button);
});

/* A program is handed in with everything done that was asked for. */
document.addEventListener("htmx:confirm", (event) => {
  if (!event.target.matches("[data-submit]") || !waiting) return;
  event.preventDefault();
  queue.then(() => event.detail.issueRequest());
});

window.addEventListener("beforeunload", (event) => waiting && event.preventDefault());

selection.refresh();
markConcerned();
document.documentElement.classList.add("editing");
