/* The rung editor in the browser: commands, keyboard and pointer.

   The server alone knows programs. Each action is one POST with the revision that this window
   shows; the answer holds only what changed (static/editor/sending.js). */
import { byId, closest, query, queryAll } from "/static/dom.js";
import {
  declaring,
  deleted,
  deletedRungs,
  documenting,
  driving,
  dropped,
  droppedRung,
  inserting,
  movedRung,
  pasted,
  replacing,
  shifted,
  together,
  varied,
  wrapped,
} from "/static/editor/actions.js";
import { showAbout } from "/static/editor/about.js";
import { ask, askDeclaration, declarationOf, listCommands, onCommit } from "/static/editor/dialogs.js";
import { clipboard, selectedText } from "/static/editor/clipboard.js";
import { dragging } from "/static/editor/dragging.js";
import { Entry } from "/static/editor/entry.js";
import { Selection, stopIn } from "/static/editor/selection.js";
import { askWhy, programChanged } from "/static/trial/main.js";
import { allDone, inTurn, isWaiting, onArrival, revision, send, sendAgain, tellSaving } from "/static/editor/sending.js";

/** @import { Action, Kind, Selected, Where } from "/static/editor/actions.js" */
/** @import { Commit } from "/static/editor/dialogs.js" */
/** @import { Opening } from "/static/editor/entry.js" */
/** @import { Direction } from "/static/editor/selection.js" */
/** @import { Part } from "/static/dom.js" */

const editor = byId("editor", HTMLElement);
const frame = query(editor, ".rungs-frame", HTMLElement);
const answer = byId("editor-answer", HTMLElement);
const selection = new Selection(() => byId("rungs", HTMLElement));
const entry = new Entry(backToRungs);
let known = revision();

/* ---- actions ---------------------------------------------------------------------------------- */

/* After a swap: numbers, selection, and the revision in the form for submitting. */
onArrival((select) => {
  selection.refresh();
  if (known !== revision()) programChanged();
  known = revision();
  markConcerned();
  if (select) {
    const [rung, ...at] = select.split(" ");
    selection.select({ rung: Number(rung), at: at.join(" ") });
  } else if (!document.activeElement?.closest(".bench")) {
    selection.select(selection.place);
  }
  // The last step back or forth takes its button away.
  if (!document.activeElement || document.activeElement.matches("body, :disabled")) backToRungs();
  for (const field of queryAll(document, "[data-revision-field]", HTMLInputElement)) field.value = revision();
});

/* Mark in the drawing what a remark concerns, and tie the two together; a note marks nothing. */
function markConcerned() {
  for (const stop of frame.querySelectorAll(".concerned")) {
    stop.classList.remove("concerned", "error");
    stop.removeAttribute("aria-invalid");
    stop.removeAttribute("aria-describedby");
  }
  for (const [number, remark] of queryAll(frame, ".remark[data-at]:not(.note)", HTMLElement).entries()) {
    const stop = concerned(remark);
    remark.id = `remark-${number}`;
    stop?.classList.add("concerned");
    stop?.setAttribute("aria-describedby", remark.id);
    if (!remark.matches(".error")) continue;
    stop?.classList.add("error");
    stop?.setAttribute("aria-invalid", "true");
  }
}

/** @param {HTMLElement} remark */
function concerned(remark) {
  const [kind, name] = (remark.dataset.at ?? "").split(" ");
  const row = closest(remark, ".rung-row", HTMLElement);
  return row && stopIn(row, kind, name);
}

/* The next key is meant for the rungs, even if the rung is not there yet. */
function backToRungs() {
  if (selection.stop) selection.select(selection.place);
  else frame.focus();
}

/**
 * Close a dialog. The browser gives the focus back to what had it before, which may stand in another
 * rung than the one that was selected meanwhile: the selection decides.
 * @param {HTMLDialogElement} dialog
 */
function closeDialog(dialog) {
  const { place } = selection;
  dialog.close();
  const { activeElement } = document;
  if (activeElement !== document.body && !frame.contains(activeElement)) return;
  selection.select(place);
  backToRungs();
}

/* ---- what is selected -------------------------------------------------------------------------- */

/**
 * Return the selection as the actions need it.
 * @returns {Selected}
 */
function current() {
  const { rung, at } = selection.place;
  const [kind, name] = at.split(" ");
  const path = kind === "path" ? name.split(".").map(Number) : null;
  return {
    rung,
    path,
    output: kind === "output" ? Number(name) : null,
    text: selection.stop?.dataset.text || "",
    rungs: selection.rows.length,
    span: selection.span,
    range: (first) => selection.range(first),
  };
}

/**
 * Make an action once everything before it is done, and send it; null sends nothing.
 * @param {(selected: Selected) => Action | null} make
 * @param {HTMLElement} [target]  shows the server's objections
 */
function act(make, target) {
  return inTurn(() => {
    const action = make(current());
    if (action) selection.unmark();
    return action ? send(action, target) : false;
  });
}

/* ---- the field for one element ---------------------------------------------------------------- */

const place = () => /** @type {Where} */ (query(editor, "[name=place]:checked", HTMLInputElement).value);
/** @type {Record<Where, string>} */
const WHERE = {
  after: "after what is selected",
  before: "before what is selected",
  parallel: "in parallel",
  branch: "in a branch below",
};

/**
 * Ask for an element.
 * @param {Kind} kind
 * @param {string} label
 * @param {object} options
 * @param {Where} [options.where]  the bench's choice by default
 * @param {string} [options.type]  the block's
 * @param {string} [options.fresh]  the type of a symbol that is named here for the first time
 */
function askElement(kind, label, { where = place(), type = "", fresh = "BOOL" }) {
  openEntry({
    label: `${label}, ${WHERE[where]}`,
    type,
    fresh,
    make: (text, blockType, declared) => (selected) =>
      together(
        [...declared, ...declaring(text, blockType)],
        inserting(wrapped(kind, text), where, selected),
      ),
  });
}

/**
 * @param {Kind} kind
 * @param {string} label
 * @param {string} fresh  the type of a symbol that is named here for the first time
 */
function askOutput(kind, label, fresh = "BOOL") {
  openEntry({
    label,
    fresh,
    make: (text, _, declared) => (selected) => together(declared, driving(wrapped(kind, text), selected)),
  });
}

function askChange() {
  const stop = selection.stop;
  if (!stop || !selection.place.at) return askRung("rung-text");
  openEntry({
    label: stop.getAttribute("aria-label") ?? "",
    text: stop.dataset.text,
    make: (text) => (selected) => replacing(text, selected),
  });
}

/**
 * Ask the run about the signal of an element; of a rung, about its first output.
 * @param {Part | null} stop
 */
function askWhyOf(stop) {
  const part = stop?.dataset.text ? stop : selection.row?.querySelector("[data-output]");
  const text = part?.getAttribute("data-text")?.replace(/^(?:NOT |RISING\(|FALLING\()/, "") ?? "";
  const [name] = /^[a-z_]\w*/i.exec(text) ?? [""];
  if (name) askWhy(name);
}

/** @param {"rung-text" | "rung-comment"} id */
function askRung(id) {
  if (isWaiting() || selection.row) ask(id, inTurn(() => selection.row));
}

/**
 * What the field is asked for: how it is shown, and the action that its text makes.
 * @typedef {Omit<Opening, "stop" | "commit"> & { make: MakeEntry }} Question
 */
/** @typedef {(text: string, type: string, declared: Action[]) => (selected: Selected) => Action} MakeEntry */

/**
 * Open the field at once, so that no key is lost; where the text goes is settled in its turn.
 * @param {Question} question
 */
function openEntry({ make, ...shown }) {
  /** @type {Opening} */
  const opened = {
    ...shown,
    stop: selection.stop || frame,
    commit: (text, type, fresh) => {
      /** @type {Action[]} */
      const declared = fresh.map((variable) => ({ action: "declare", variable }));
      inTurn(async () => {
        const action = make(text, type, declared)(current());
        selection.unmark();
        if (await send(action)) return;
        const refused = [...answer.childNodes];
        if (!refused.length || entry.isOpen || answer.querySelector("[data-command]")) return;
        entry.reopen({ ...opened, text, type, stop: selection.stop || opened.stop }, refused);
      });
    },
  };
  entry.open(opened);
}

/* ---- copy and paste ---------------------------------------------------------------------------- */

const carried = clipboard({
  isMeant: (event) => isForRungs(event),
  text: () => selectedText(selection.rows, current()),
  remove: () => act(deleted),
  paste: (text) => act((selected) => pasted(text, selected)),
});

/* ---- commands --------------------------------------------------------------------------------- */

/**
 * Go to another page by its link, once everything before is done.
 * @param {string} link
 */
const leave = (link) =>
  inTurn(() => {
    const way = document.getElementById(link);
    if (way) way.click();
    else tellSaving("A supervised lab has no versions, files and prints", "advice");
  });

/**
 * What each command of server/web/editor/commands.py does. `button` is what was pressed, `where` the place
 * at which a tool was dropped, if any.
 * @type {Record<string, (button: HTMLElement | null, where?: Where) => unknown>}
 */
const COMMANDS = {
  open: (_, where) => askElement("open", "Normally open contact", { where }),
  closed: (_, where) => askElement("closed", "Normally closed contact", { where }),
  rising: (_, where) => askElement("rising", "Rising edge contact", { where }),
  falling: (_, where) => askElement("falling", "Falling edge contact", { where }),
  comparison: (_, where) =>
    askElement("comparison", "Comparison like level > 500", { where, fresh: "INT" }),
  block: (_, where) => askElement("block", "Block", { where, type: "TON" }),
  coil: () => askOutput("coil", "Coil"),
  negated: () => askOutput("negated", "Negated coil"),
  set: () => askOutput("set", "Set coil"),
  reset: () => askOutput("reset", "Reset coil"),
  assignment: () => askOutput("assignment", "Assignment like count := count + 1", "INT"),
  "place-after": () => askElement("open", "Element", { where: "after" }),
  "place-before": () => askElement("open", "Element", { where: "before" }),
  "place-parallel": () => askElement("open", "Element", { where: "parallel" }),
  "place-branch": () => askElement("open", "Element", { where: "branch" }),
  mark: () => inTurn(() => selection.mark()),
  copy: () => inTurn(carried.copy),
  cut: () => inTurn(carried.cut),
  paste: carried.paste,
  find: () => {
    const looked = (/** @type {string} */ text) => inTurn(() => showAbout({ symbol: text.toLowerCase() }));
    entry.open({ label: "Find a symbol", stop: selection.stop || frame, commit: looked });
  },
  edit: askChange,
  why: () => inTurn(() => askWhyOf(selection.stop)),
  vary: () => act(varied),
  left: () => act((selected) => shifted(selected, -1)),
  right: () => act((selected) => shifted(selected, 1)),
  delete: () => act(deleted),
  "rung-below": () => act(({ rung }) => ({ action: "add rung", at: rung + 1 })),
  "rung-above": () => act(({ rung }) => ({ action: "add rung", at: rung })),
  "rung-end": () => {
    backToRungs();
    act(({ rungs }) => ({ action: "add rung", at: rungs }));
  },
  "rung-delete": () => act(deletedRungs),
  text: () => askRung("rung-text"),
  comment: () => askRung("rung-comment"),
  duplicate: () => act(({ rung, rungs }) => (rungs ? { action: "duplicate rung", rung } : null)),
  up: () => act((selected) => movedRung(selected, -1)),
  down: () => act((selected) => movedRung(selected, 1)),
  undo: () => inTurn(() => send(null, answer, "/undo")),
  redo: () => inTurn(() => send(null, answer, "/redo")),
  declare: () => askDeclaration(null),
  "declare-this": (button) => {
    const { symbol = "", type = "", address } = button?.dataset ?? {};
    act(() => ({ action: "declare", variable: { symbol, type, address: address ?? null } }));
  },
  declaration: (button) => askDeclaration(closest(button, "tr", HTMLElement)),
  about: () => inTurn(() => showAbout(selection.row ? selection.place : {})),
  uses: (button) => {
    const { symbol } = closest(button, "tr", HTMLElement)?.dataset ?? {};
    return inTurn(() => showAbout({ symbol }));
  },
  go: (button) => {
    closeDialog(byId("about", HTMLDialogElement));
    selection.select({ rung: Number(button?.dataset.rung), at: button?.dataset.at ?? "" });
  },
  versions: () => leave("to-versions"),
  print: () => leave("to-print"),
  commands: () => listCommands(run),
  again: sendAgain,
  keep: () => answer.replaceChildren(),
};

/**
 * @param {string} name
 * @param {HTMLElement | null} [button]
 * @param {Where} [where]
 */
function run(name, button = null, where) {
  COMMANDS[name](button, where);
}

/** @param {HTMLFormElement} form */
const textOf = (form) => query(form, "textarea", HTMLTextAreaElement).value;

/** @type {Record<"rung-text" | "rung-comment" | "declaration", Commit>} */
const COMMITS = {
  "rung-text": (form, target) => {
    const text = textOf(form);
    return act(({ rung }) => ({ action: "set rung", rung, text }), target);
  },
  "rung-comment": (form, target) => {
    const comment = textOf(form);
    const serves = new FormData(form).getAll("serves").map(String);
    return act((selected) => documenting(comment, serves, selected), target);
  },
  declaration: (form, target, remove) => {
    const { was = "" } = form.dataset;
    if (remove) return act(() => ({ action: "delete variable", symbol: was }), target);
    const variable = declarationOf(form);
    return act(() => (was ? { action: "change variable", symbol: was, variable } : { action: "declare", variable }), target);
  },
};
onCommit(COMMITS, closeDialog);

/* ---- keyboard and pointer --------------------------------------------------------------------- */

const keys = new Map(
  queryAll(document, "#command-options [data-key]", HTMLElement).map(({ dataset }) => [dataset.key ?? "", dataset.run ?? ""]),
);
keys.set("F1", "about").set("F2", "edit").set("Backspace", "delete").set("Ctrl+Shift+z", "redo").set("/", "commands");
keys.set("p", "place-parallel");
for (const key of ["Ctrl+c", "Ctrl+x", "Ctrl+v"]) keys.delete(key);

/** @type {Record<string, Direction>} */
const MOVES = { ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down" };

/**
 * Return a key as server/web/editor/commands.py writes it.
 * @param {KeyboardEvent} event
 */
function formatKey(event) {
  const letter = event.key.length === 1 && event.key.toLowerCase() !== event.key.toUpperCase();
  const shift = event.shiftKey && (letter || event.key.length > 1);
  const ctrl = event.ctrlKey || event.metaKey;
  return (ctrl ? "Ctrl+" : "") + (shift ? "Shift+" : "") + (letter ? event.key.toLowerCase() : event.key);
}

/* A rung drawn anew takes the focus with it; until the answer is there, keys are still meant for the rungs. */
const isForRungs = (/** @type {Event} */ { target }) =>
  (target === document.body && isWaiting()) || (target instanceof Node && frame.contains(target));

document.addEventListener("keydown", (event) => {
  if (event.altKey || event.isComposing || !isForRungs(event)) return;
  const key = formatKey(event);
  const [move, command] = [MOVES[key], keys.get(key)];
  if (move) inTurn(() => selection.move(move));
  else if (key === "Home") inTurn(() => selection.first());
  else if (key === "End") inTurn(() => selection.last());
  else if (key === "Ctrl+Home") inTurn(() => selection.select({ rung: 0, at: "" }));
  else if (key === "Ctrl+End") inTurn(() => selection.select({ rung: Infinity, at: "" }));
  else if (command) run(command);
  else return;
  event.preventDefault();
});

frame.addEventListener("focusin", (event) => selection.selectStop(event.target));
frame.addEventListener("click", (event) => {
  const remark = closest(event.target, ".remark[data-at]", HTMLElement);
  selection.selectStop((remark && concerned(remark)) || event.target);
});
frame.addEventListener("mousedown", (event) => {
  if (event.shiftKey && selection.extend(event.target)) event.preventDefault();
});
frame.addEventListener("dblclick", (event) => selection.selectStop(event.target) && askChange());

dragging(frame, {
  rung: (from, gap) => act(() => droppedRung(from, gap)),
  part: (source, target) => {
    if (source.kind !== "tool") return act((selected) => dropped(source, target, selected));
    selection.select({ rung: target.rung, at: target.path ? `path ${target.path.join(".")}` : "" }, { focus: false });
    return run(source.command, null, target.side);
  },
});

document.addEventListener("click", (event) => {
  const button = closest(event.target, "[data-command]", HTMLButtonElement);
  if (button && !button.disabled) run(button.dataset.command ?? "", button);
});

/* A program is handed in with everything done that was asked for. */
document.addEventListener("htmx:confirm", (event) => {
  const submits = event.target instanceof Element && event.target.matches("[data-submit]");
  if (!submits || !isWaiting()) return;
  event.preventDefault();
  allDone().then(() => event.detail.issueRequest());
});

/* The answer's place is a live region, which tells what goes on until then. */
document.addEventListener("htmx:before:request", (event) => {
  if (event.target instanceof Element && event.target.matches("[data-submit]")) byId("submit-answer", HTMLElement).textContent = "Storing and marking…";
});

window.addEventListener("beforeunload", (event) => isWaiting() && event.preventDefault());

selection.refresh();
markConcerned();
document.documentElement.classList.add("editing");
