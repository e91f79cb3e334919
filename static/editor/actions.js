/* Actions of the core (server/ladder/actions) for what is selected; null where there is nothing to
   do. */
/** @import { Gap, Part, Target } from "/static/editor/dragging.js" */

/**
 * Where an element stands in its rung: its number in each series and each parallel, from outside.
 * @typedef {number[]} Path
 */
/**
 * Neighbors in one series; the first alone without `last`.
 * @typedef {{ first: Path, last?: Path }} Range
 */
/**
 * Rungs by their numbers from 0, both included.
 * @typedef {{ first: number, last: number }} Span
 */
/** @typedef {"before" | "after"} Side */
/**
 * Where a new element goes: beside what is selected, parallel to it, or into a branch below.
 * @typedef {Side | "parallel" | "branch"} Where
 */
/**
 * What is selected: the rung's number from 0, the element's path or the output's number, its text;
 * how many rungs there are; the rungs from the marked one to this one; and a function that returns
 * what lies from the marked element to one.
 * @typedef {object} Selected
 * @property {number} rung
 * @property {Path | null} path
 * @property {number | null} output
 * @property {string} text
 * @property {number} rungs
 * @property {Span} span
 * @property {(path: Path) => Range} range
 */
/**
 * @typedef {object} Declaration
 * @property {string} symbol
 * @property {string} type
 * @property {string | null} [address]
 * @property {string} [initial]
 * @property {string} [comment]
 * @property {boolean} [retain]
 */
/**
 * The actions that this editor asks for, as the server reads them.
 * @typedef {{ action: "insert element", rung: number, path: Path | null, element: string, side: Side }
 *   | { action: "insert parallel", rung: number, element: string, first: Path, last?: Path }
 *   | { action: "add branch", rung: number, path: Path, element: string }
 *   | { action: "set element", rung: number, path: Path, element: string }
 *   | { action: "move element", rung: number, path: Path, to_rung: number, to_path: Path | null,
 *       side: Side | "parallel" }
 *   | { action: "delete elements", rung: number, first: Path, last?: Path }
 *   | { action: "add output", rung: number, output: string }
 *   | { action: "set output", rung: number, number: number | null, output: string }
 *   | { action: "move output", rung: number, number: number, to: number }
 *   | { action: "delete output", rung: number, number: number }
 *   | { action: "add rung", at: number }
 *   | { action: "duplicate rung", rung: number }
 *   | { action: "delete rung", rung: number, last: number }
 *   | { action: "paste rungs", at: number, text: string }
 *   | { action: "paste elements", rung: number, path: Path | null, text: string }
 *   | { action: "move rung", rung: number, to: number }
 *   | { action: "set rung", rung: number, text: string }
 *   | { action: "set comment", rung: number, comment: string }
 *   | { action: "set serves", rung: number, serves: string[] }
 *   | { action: "declare", variable: Declaration }
 *   | { action: "change variable", symbol: string, variable: Declaration }
 *   | { action: "delete variable", symbol: string }
 *   | { action: "together", actions: Action[] }} Action
 */

/**
 * Put an element into the rung; into a first rung where there is none yet.
 * @param {string} element
 * @param {Where} where
 * @param {Selected} selected
 */
export function inserting(element, where, selected) {
  return inARung(selected, (rung) => inserted(element, where, { ...selected, rung }));
}

/**
 * Add an output to the rung.
 * @param {string} output
 * @param {Selected} selected
 */
export function driving(output, selected) {
  return inARung(selected, (rung) => ({ action: "add output", rung, output }));
}

/** @param {Selected} selected @param {(rung: number) => Action} make */
function inARung({ rung, rungs }, make) {
  return rungs ? make(rung) : together([{ action: "add rung", at: 0 }], make(0));
}

/**
 * @param {string} element
 * @param {Where} where
 * @param {Selected} selected
 * @returns {Action}
 */
function inserted(element, where, { rung, path, range }) {
  if (path && where === "parallel") return { action: "insert parallel", rung, element, ...range(path) };
  if (path && where === "branch") return { action: "add branch", rung, path, element };
  return { action: "insert element", rung, path, element, side: where === "before" ? "before" : "after" };
}

/**
 * Return several actions as one, or the last alone.
 * @param {Action[]} first
 * @param {Action} action
 * @returns {Action}
 */
export function together(first, action) {
  return first.length ? { action: "together", actions: [...first, action] } : action;
}

/**
 * Return the declaration of a block's instance if it has none yet: a list of one or none.
 * @param {string} element
 * @param {string} type  the block's, empty for what is not a block
 * @returns {Action[]}
 */
export function declaring(element, type) {
  const instance = element.match(/^\w+/)?.[0].toLowerCase();
  const declared = document.querySelector(`#declarations tr[data-symbol="${instance}"]`);
  return type && instance && !declared ? [{ action: "declare", variable: { symbol: instance, type } }] : [];
}

/**
 * @param {string} text
 * @param {Selected} selected
 * @returns {Action}
 */
export function replacing(text, { rung, path, output }) {
  return path
    ? { action: "set element", rung, path, element: text }
    : { action: "set output", rung, number: output, output: text };
}

/**
 * @param {string} comment
 * @param {string[]} serves  ids of requirements
 * @param {Selected} selected
 */
export function documenting(comment, serves, { rung }) {
  return together([{ action: "set serves", rung, serves }], { action: "set comment", rung, comment });
}

/**
 * Move an element past its neighbor in the series, or an output past the next one.
 * @param {Selected} selected
 * @param {1 | -1} step
 * @returns {Action | null}
 */
export function shifted({ rung, path, output }, step) {
  if (output !== null) return { action: "move output", rung, number: output, to: output + step };
  if (!path) return null;
  const to = [...path.slice(0, -1), path[path.length - 1] + step];
  if (to[to.length - 1] < 0) return null;
  return { action: "move element", rung, path, to_rung: rung, to_path: to, side: step < 0 ? "before" : "after" };
}

/**
 * Move a rung into the gap into which it was dragged.
 * @param {number} from
 * @param {Gap} gap
 * @returns {Action | null}
 */
export function droppedRung(from, { rung, side }) {
  const before = rung + (side === "below" ? 1 : 0);
  const to = before > from ? before - 1 : before;
  return to === from ? null : { action: "move rung", rung: from, to };
}

/**
 * Put an element or a point where it was dragged.
 * @param {Part} source
 * @param {Target} target
 * @param {Selected} selected
 * @returns {Action | null}
 */
export function dropped(source, { rung, path, side }, selected) {
  if (source.kind === "element") {
    if (rung === source.rung && String(path) === String(source.path)) return null;
    const { rung: from, path: at } = source;
    return { action: "move element", rung: from, path: at, to_rung: rung, to_path: path, side };
  }
  if (source.output) return driving(source.symbol, { ...selected, rung });
  return inserting(source.symbol, side, { ...selected, rung, path, range: (first) => ({ first }) });
}

/**
 * @param {Selected} selected
 * @param {1 | -1} step
 * @returns {Action | null}
 */
export function movedRung({ rung, rungs }, step) {
  const to = rung + step;
  return to < 0 || to >= rungs ? null : { action: "move rung", rung, to };
}

/**
 * Take out what is selected: an element or all from the marked one to it, an output, or rungs.
 * @param {Selected} selected
 * @returns {Action | null}
 */
export function deleted(selected) {
  const { rung, path, output, range } = selected;
  if (path) return { action: "delete elements", rung, ...range(path) };
  if (output !== null) return { action: "delete output", rung, number: output };
  return deletedRungs(selected);
}

/** @param {Selected} selected @returns {Action | null} */
export function deletedRungs({ span, rungs }) {
  return rungs ? { action: "delete rung", rung: span.first, last: span.last } : null;
}

/**
 * Put text of the ladder language behind what is selected: rungs, an output, or elements.
 * @param {string} text
 * @param {Selected} selected
 * @returns {Action}
 */
export function pasted(text, selected) {
  const { rung, rungs, path, output } = selected;
  if (text.includes(";")) return { action: "paste rungs", at: rungs ? rung + 1 : 0, text };
  if (output !== null || ASSIGNED.test(text)) return driving(text.trim(), selected);
  return inARung(selected, (number) => ({ action: "paste elements", rung: number, path, text }));
}

const ASSIGNED = /^\s*[A-Za-z_][\w.]*\s*:=/;

/* ---- kinds of contacts and coils ---------------------------------------------------------------- */

/** @typedef {"open" | "closed" | "rising" | "falling"} ContactKind */
/** @typedef {"coil" | "negated" | "set" | "reset"} CoilKind */
/** @typedef {ContactKind | CoilKind | "comparison" | "block" | "assignment"} Kind */

/**
 * What a kind writes before and after its symbol, if anything.
 * @type {Partial<Record<Kind, [string, string]>>}
 */
const WRAP = {
  closed: ["NOT ", ""],
  rising: ["RISING(", ")"],
  falling: ["FALLING(", ")"],
  negated: ["NOT ", ""],
  set: ["", " := TRUE"],
  reset: ["", " := FALSE"],
};
/** @type {ContactKind[]} */
const CONTACTS = ["open", "closed", "rising", "falling"];
/** @type {CoilKind[]} */
const COILS = ["coil", "negated", "set", "reset"];
const SYMBOL = /^[A-Za-z_][\w.]*$/;

/**
 * Write around a plain symbol what its kind needs; leave a longer text as it is.
 * @param {Kind} kind
 * @param {string} text
 */
export function wrapped(kind, text) {
  const [before, after] = WRAP[kind] || ["", ""];
  return SYMBOL.test(text) ? before + text + after : text;
}

/**
 * Return the same contact or coil in its next kind; null for what has no kinds.
 * @param {Selected} selected
 */
export function varied(selected) {
  const { path, text } = selected;
  const kinds = path ? CONTACTS : COILS;
  for (const [number, kind] of kinds.entries()) {
    const [before, after] = WRAP[kind] || ["", ""];
    const symbol = text.slice(before.length, text.length - after.length);
    if (!SYMBOL.test(symbol) || before + symbol + after !== text) continue;
    return replacing(wrapped(kinds[(number + 1) % kinds.length], symbol), selected);
  }
  return null;
}
