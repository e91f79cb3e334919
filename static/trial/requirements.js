// The line of requirement numbers: how each stands in the run, and its sentence on demand.

import { byId, query, queryAll } from "/static/dom.js";
/** @import { Values } from "/static/trial/plant.js" */

const line = byId("requirement-line", HTMLElement);
const sentence = byId("requirement-sentence", HTMLElement);
const marks = queryAll(line, "[data-requirement]", HTMLButtonElement);

/**
 * The requirement of each check.
 * @type {string[]}
 */
let checks = [];

for (const mark of marks) mark.addEventListener("click", () => open(mark.getAttribute("aria-expanded") === "true" ? null : mark));

/**
 * Show the sentence of a requirement, or none.
 * @param {HTMLButtonElement | null} mark
 */
function open(mark) {
  for (const each of marks) each.setAttribute("aria-expanded", String(each === mark));
  sentence.hidden = !mark;
  const id = mark?.dataset.requirement ?? "";
  sentence.textContent = mark ? `${id}  ${query(byId(id, HTMLElement), ".demand", HTMLElement).textContent}` : "";
}

/** @param {string[]} requirements  that of each check */
export function layChecks(requirements) {
  checks = requirements;
  for (const mark of marks) {
    if (!checks.includes(mark.dataset.requirement ?? "")) show(mark, "unjudged", "judged when you submit");
  }
}

/** @param {string[]} changed @param {Values} values */
export function showChecks(changed, values) {
  if (!changed.some((key) => key.startsWith("c:"))) return;
  for (const mark of marks) {
    const numbers = checks.flatMap((requirement, i) => (requirement === mark.dataset.requirement ? [i] : []));
    if (!numbers.length) continue;
    /** @param {"violated" | "exercised"} what */
    const all = (what) => numbers.map((i) => values.get(`c:${i}:${what}`) === 1);
    if (all("violated").includes(true)) show(mark, "not-met", "violated");
    else if (!all("exercised").includes(true)) show(mark, "untried", "not tried yet");
    else if (all("exercised").includes(false)) show(mark, "in-part", "tried in part");
    else show(mark, "met", "held so far");
  }
}

/** @param {HTMLElement} mark @param {string} kind @param {string} word */
function show(mark, kind, word) {
  query(mark, ".status", HTMLElement).className = `status ${kind}`;
  query(mark, ".word", HTMLElement).textContent = word;
  mark.title = word;
}
