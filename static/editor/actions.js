/* Actions of the core (server/ladder/actions) for what is selected.

   `selected` is {rung, path, output, text, rungs, range}: the rung's number from 0, the element's
   path or the output's number or null, its text, how many rungs there are, and a function that
   gives {first, last} of what a branch will lie around. null means that there is nothing to do. */

/* An element into the rung; into a first rung where there is none yet. */
export function inserting(element, where, selected) {
  return inARung(selected, (rung) => inserted(element, where, { ...selected, rung }));
}

/* One more output of the rung. */
export function driving(output, selected) {
  return inARung(selected, (rung) => ({ action: "add output", rung, output }));
}

function inARung({ rung, rungs }, make) {
  return rungs ? make(rung) : together([{ action: "add rung", at: 0 }], make(0));
}

function inserted(element, where, { rung, path, range }) {
  if (path && where === "parallel") return { action: "insert parallel", rung, element, ...range() };
  if (path && where === "branch") return { action: "add branch", rung, path, element };
  return { action: "insert element", rung, path, element, side: where === "before" ? "before" : "after" };
}

/* Several actions as one, or the last alone. */
export function together(first, action) {
  return first.length ? { action: "together", actions: [...first, action] } : action;
}

/* The declaration of a block's instance, if it has none: a list of one or none. */
export function declaring(element, type) {
  const instance = element.match(/^\w+/)?.[0].toLowerCase();
  const declared = document.querySelector(`#declarations tr[data-symbol="${instance}"]`);
  return type && instance && !declared ? [{ action: "declare", variable: { symbol: instance, type } }] : [];
}

export function replacing(text, { rung, path, output }) {
  return path
    ? { action: "set element", rung, path, element: text }
    : { action: "set output", rung, number: output, output: text };
}

export function documenting(comment, serves, { rung }) {
  return together([{ action: "set serves", rung, serves }], { action: "set comment", rung, comment });
}

/* An element beside the item before or behind it in its series; an output before or behind the next. */
export function shifted({ rung, path, output }, step) {
  if (output !== null) return { action: "move output", rung, number: output, to: output + step };
  if (!path || path.at(-1) + step < 0) return null;
  const to = [...path.slice(0, -1), path.at(-1) + step];
  return { action: "move element", rung, path, to_rung: rung, to_path: to, side: step < 0 ? "before" : "after" };
}

/* What a drag asks for: see static/editor/dragging.js. */
export function dropped(source, { rung, path, side }, selected) {
  if (source.kind === "rung") {
    const gap = rung + (side === "below" ? 1 : 0);
    const to = gap > source.rung ? gap - 1 : gap;
    return to === source.rung ? null : { action: "move rung", rung: source.rung, to };
  }
  if (source.kind === "element") {
    if (rung === source.rung && String(path) === String(source.path)) return null;
    const { rung: from, path: at } = source;
    return { action: "move element", rung: from, path: at, to_rung: rung, to_path: path, side };
  }
  if (source.output) return driving(source.symbol, { ...selected, rung });
  const range = () => ({ first: path });
  return inserting(source.symbol, side, { ...selected, rung, path, range });
}

export function movedRung({ rung, rungs }, step) {
  const to = rung + step;
  return to < 0 || to >= rungs ? null : { action: "move rung", rung, to };
}

export function deleted({ rung, path, output, rungs }) {
  if (path) return { action: "delete elements", rung, first: path };
  if (output !== null) return { action: "delete output", rung, number: output };
  return rungs ? { action: "delete rung", rung } : null;
}

/* ---- kinds of contacts and coils ---------------------------------------------------------------- */

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
export function wrapped(kind, text) {
  const [before, behind] = WRAP[kind] || ["", ""];
  return SYMBOL.test(text) ? before + text + behind : text;
}

/* The same contact or coil in its next kind; null for what has no kinds. */
export function varied(selected) {
  const { path, text } = selected;
  const kinds = path ? CONTACTS : COILS;
  for (const [number, kind] of kinds.entries()) {
    const [before, behind] = WRAP[kind] || ["", ""];
    const symbol = text.slice(before.length, text.length - behind.length);
    if (!SYMBOL.test(symbol) || before + symbol + behind !== text) continue;
    return replacing(wrapped(kinds[(number + 1) % kinds.length], symbol), selected);
  }
  return null;
}
