/* The rung editor in the browser: commands, keyboard and pointer.

   The server alone knows programs. Each action is one POST with the revision that this window
   shows; the answer holds only what changed (static/editor/sending.js). */
import {
  declaring,
  deleted,
  documenting,
  driving,
  dropped,
  inserting,
  movedRung,
  replacing,
  shifted,
  together,
  varied,
  wrapped,
} from "/static/editor/actions.js";
import { tellAbout } from "/static/editor/about.js";
import { ask, askDeclaration, listCommands, onCommit } from "/static/editor/dialogs.js";
import { dragging } from "/static/editor/dragging.js";
import { Entry } from "/static/editor/entry.js";
import { Selection } from "/static/editor/selection.js";
import { allDone, inTurn, isWaiting, onArrival, revision, send, sendAgain } from "/static/editor/sending.js";

const editor = document.getElementById("editor");
const frame = editor.querySelector(".rungs-frame");
const answer = document.getElementById("editor-answer");
const selection = new Selection(() => document.getElementById("rungs"));
const entry = new Entry(backToRungs);

/* ---- actions ---------------------------------------------------------------------------------- */

/* After a swap: numbers, selection, and the revision that the form for submitting hands in. */
onArrival((select) => {
  selection.refresh();
  markConcerned();
  if (select) {
    const [rung, ...at] = select.split(" ");
    selection.select({ rung: Number(rung), at: at.join(" ") });
  } else if (!document.activeElement?.closest(".bench")) {
    selection.select(selection.place);
  }
  for (const field of document.querySelectorAll("[data-revision-field]")) field.value = revision();
});

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

/* The next key is meant for the rungs, even if the rung is not there yet. */
function backToRungs() {
  if (selection.stop) selection.select(selection.place);
  else frame.focus();
}

/* ---- what is selected -------------------------------------------------------------------------- */

/* The selection as the actions need it: see static/editor/actions.js. */
function selected() {
  const { rung, at } = selection.place;
  const [kind, name] = at.split(" ");
  const path = kind === "path" ? name.split(".").map(Number) : null;
  return {
    rung,
    path,
    output: kind === "output" ? Number(name) : null,
    text: selection.stop?.dataset.text || "",
    rungs: selection.rows.length,
    range: () => selection.range(path),
  };
}

/* `make(selected())` gives the action once everything before it is done; null does nothing. */
function act(make, target) {
  return inTurn(() => {
    const action = make(selected());
    return action && send(action, target);
  });
}

/* ---- the field for one element ---------------------------------------------------------------- */

const place = () => editor.querySelector("[name=place]:checked").value;
const WHERE = {
  after: "after what is selected",
  before: "before what is selected",
  parallel: "in parallel",
  branch: "in a branch below",
};

/* `fresh` is the type of a symbol that is named here for the first time. */
function askElement(kind, label, { where = place(), type = "", fresh = "BOOL" } = {}) {
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
    label: stop.getAttribute("aria-label"),
    text: stop.dataset.text,
    make: (text) => (selected) => replacing(text, selected),
  });
}

function askRung(id) {
  if (isWaiting() || selection.row) ask(id, inTurn(() => selection.row));
}

/* Open the field at once, so that no key is lost; where the text goes is settled in its turn. */
function openEntry({ make, ...shown }) {
  const opened = {
    ...shown,
    stop: selection.stop || editor.querySelector(".rungs-frame"),
    commit: (text, type, fresh) => {
      const declared = fresh.map((variable) => ({ action: "declare", variable }));
      inTurn(async () => {
        if (await send(make(text, type, declared)(selected()))) return;
        const refused = [...answer.childNodes];
        if (!refused.length || entry.isOpen || answer.querySelector("[data-command]")) return;
        entry.reopen({ ...opened, text, type, stop: selection.stop || opened.stop }, refused);
      });
    },
  };
  entry.open(opened);
}

/* ---- commands --------------------------------------------------------------------------------- */

/* Go to another page by its link, once everything before is done. */
const leave = (link) => inTurn(() => document.getElementById(link).click());

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
  edit: askChange,
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
  "rung-delete": () => act(({ rung, rungs }) => rungs && { action: "delete rung", rung }),
  text: () => askRung("rung-text"),
  comment: () => askRung("rung-comment"),
  duplicate: () => act(({ rung, rungs }) => rungs && { action: "duplicate rung", rung }),
  up: () => act((selected) => movedRung(selected, -1)),
  down: () => act((selected) => movedRung(selected, 1)),
  undo: () => inTurn(() => send(null, answer, "/undo")),
  redo: () => inTurn(() => send(null, answer, "/redo")),
  declare: () => askDeclaration(null),
  declaration: (button) => askDeclaration(button.closest("tr")),
  about: () => inTurn(() => tellAbout(selection.row ? selection.place : {})),
  uses: (button) => inTurn(() => tellAbout(button.closest("tr").dataset)),
  go: (button) => {
    button.closest("dialog").close();
    selection.select({ rung: Number(button.dataset.rung), at: button.dataset.at });
  },
  versions: () => leave("to-versions"),
  print: () => leave("to-print"),
  commands: () => listCommands(run),
  again: sendAgain,
  keep: () => answer.replaceChildren(),
};

/* `button` is what was pressed, `where` the place at which a tool was let go: either may be none. */
function run(name, button, where) {
  COMMANDS[name](button, where);
}

onCommit({
  "rung-text": (form, target) => {
    const text = form.querySelector("textarea").value;
    return act(({ rung }) => ({ action: "set rung", rung, text }), target);
  },
  "rung-comment": (form, target) => {
    const comment = form.querySelector("textarea").value;
    const serves = new FormData(form).getAll("serves");
    return act((selected) => documenting(comment, serves, selected), target);
  },
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
keys.set("F1", "about").set("F2", "edit").set("Backspace", "delete").set("Ctrl+Shift+z", "redo").set("/", "commands");
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

dragging(frame, (source, target) => {
  if (source.kind !== "tool") return act((selected) => dropped(source, target, selected));
  selection.select({ rung: target.rung, at: target.path ? `path ${target.path.join(".")}` : "" }, { focus: false });
  run(source.command, null, target.side);
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-command]");
  if (button && !button.disabled) run(button.dataset.command, button);
});

/* A program is handed in with everything done that was asked for. */
document.addEventListener("htmx:confirm", (event) => {
  if (!event.target.matches("[data-submit]") || !isWaiting()) return;
  event.preventDefault();
  allDone().then(() => event.detail.issueRequest());
});

window.addEventListener("beforeunload", (event) => isWaiting() && event.preventDefault());

selection.refresh();
markConcerned();
document.documentElement.classList.add("editing");
