/* Which rung, element or output is selected, and where the arrow keys lead.

   One stop holds tabindex 0; every other one is reached from it by arrow keys. */
import { closest, find, query, queryAll } from "/static/dom.js";
/** @import { Part } from "/static/dom.js" */
/** @import { Path, Range, Span } from "/static/editor/actions.js" */

/**
 * The rung's number from 0, and "path 1.0.0", "output 0", or "" for the rung itself.
 * @typedef {{ rung: number, at: string }} Place
 */
/** @typedef {"left" | "right" | "up" | "down"} Direction */

const LONG = 60;
const STOPS = ".rung-head, [data-path], [data-output]";

export class Selection {
  #rungs;
  /** @type {Place} */
  #place = { rung: 0, at: "" };
  /** @type {Place | null} */
  #mark = null;
  /**
   * The stops that this window shows as selected or marked; a rung drawn anew shows none.
   * @type {Part[]}
   */
  #shown = [];

  /** @param {() => HTMLElement} rungs  the list of rungs, which a swap may replace */
  constructor(rungs) {
    this.#rungs = rungs;
  }

  get place() {
    return this.#place;
  }

  /* A live collection, so that nothing is copied for one row. */
  get rows() {
    return /** @type {HTMLCollectionOf<HTMLElement>} */ (this.#rungs().children);
  }

  /** @returns {HTMLElement | undefined} */
  get row() {
    return this.rows[this.#place.rung];
  }

  get stop() {
    return this.#stopAt(this.#place);
  }

  /* Number the rungs anew after some came or went, and show the selection again.

     A class says how many they are: a selector that counts them costs time at each change. */
  refresh() {
    this.#rungs().classList.toggle("empty", this.rows.length === 0);
    this.#rungs().classList.toggle("long", this.rows.length >= LONG);
    for (const [number, row] of [...this.rows].entries()) {
      if (row.id === `rung-${number}`) continue;
      row.id = `rung-${number}`;
      query(row, ".number", HTMLElement).textContent = String(number + 1);
    }
    this.select(this.#place, { focus: false });
  }

  /** @param {Place} place */
  select(place, { focus = true } = {}) {
    const last = this.rows.length - 1;
    const rung = Math.max(0, Math.min(place.rung, last));
    this.#place = { rung, at: place.at };
    const stop = this.stop;
    const marked = this.#marked();
    const before = this.#shown;
    this.#shown = stop ? [stop, ...marked] : marked;
    for (const each of [...before, ...this.#shown]) {
      const wanted = each === stop ? "0" : "-1";
      // Setting it where the focus is makes the browser look at the styles of the whole sheet.
      if (each.getAttribute("tabindex") !== wanted) each.setAttribute("tabindex", wanted);
      each.classList.toggle("selected", each === stop);
      each.classList.toggle("marked", marked.includes(each));
    }
    if (!stop) return;
    this.#place = placeOf(stop);
    if (focus && stop !== document.activeElement && !isTyping()) stop.focus();
  }

  /** @param {EventTarget | null} target */
  selectStop(target) {
    const stop = closest(target, STOPS, HTMLElement, SVGElement);
    if (stop) this.select(placeOf(stop));
    return Boolean(stop);
  }

  /** @param {Direction} direction */
  move(direction) {
    const next = this.#neighbor(direction);
    if (next) this.select(placeOf(next));
  }

  /* Mark one end of what is meant, elements or rungs; the selection is the other. */
  mark() {
    const same = this.#mark && this.#mark.rung === this.#place.rung && this.#mark.at === this.#place.at;
    this.#mark = same || this.#place.at.startsWith("output") ? null : this.#place;
    this.select(this.#place);
  }

  /**
   * Select what was pointed at, and mark what was selected before.
   * @param {EventTarget | null} target
   */
  extend(target) {
    if (!this.#mark) this.mark();
    return this.selectStop(target);
  }

  /**
   * Return the rungs from the marked one to the selected one, or that alone.
   * @returns {Span}
   */
  get span() {
    const { rung, at } = this.#place;
    const other = at === "" && this.#mark?.at === "" ? this.#mark.rung : rung;
    return { first: Math.min(rung, other), last: Math.max(rung, other) };
  }

  /* Forget the mark, once what was marked is done. */
  unmark() {
    this.#mark = null;
  }

  /* What is shown as marked: an element, or the heads of all rungs of the span. */
  #marked() {
    if (!this.#mark) return [];
    if (this.#mark.at === "" && this.#place.at === "") {
      const { first, last } = this.span;
      return [...this.rows].slice(first, last + 1).map(headOf);
    }
    const stop = this.#stopAt(this.#mark);
    return stop ? [stop] : [];
  }

  /**
   * Return what lies from the mark to an element, if they stand in one rung; else the element alone.
   * @param {Path} path
   * @returns {Range}
   */
  range(path) {
    const [kind, name] = this.#mark?.rung === this.#place.rung ? this.#mark.at.split(" ") : [];
    if (kind !== "path") return { first: path };
    const marked = name.split(".").map(Number);
    // An end inside a branch stands for the whole parallel, so that the ends meet in one series.
    let depth = 0;
    while (depth < Math.min(marked.length, path.length) - 1 && marked[depth] === path[depth]) depth += 1;
    depth -= depth % 2;
    const [first, last] = [marked.slice(0, depth + 1), path.slice(0, depth + 1)];
    return first[depth] <= last[depth] ? { first, last } : { first: last, last: first };
  }

  first() {
    this.select({ rung: this.#place.rung, at: "" });
  }

  last() {
    const stop = stopsIn(this.row).at(-1);
    if (stop) this.select(placeOf(stop));
  }

  /** @param {Place} place @returns {Part | null} */
  #stopAt({ rung, at }) {
    const row = this.rows[rung];
    if (!row) return null;
    const [kind, name] = at.split(" ");
    return (at && stopIn(row, kind, name)) || headOf(row);
  }

  /** @param {Direction} direction */
  #neighbor(direction) {
    const [from, row] = [this.stop, this.row];
    if (!from || !row) return null;
    const head = headOf(row);
    const sideways = direction === "left" || direction === "right";
    if (from === head && !sideways) return this.#headBeyond(direction);
    const found = nearest(from, stopsIn(row), direction);
    if (found) return found;
    if (direction === "left") return from === head ? null : head;
    if (sideways) return null;
    const beyond = this.#rowBeyond(direction);
    return beyond && (nearest(from, stopsIn(beyond), direction) || headOf(beyond));
  }

  /** @param {Direction} direction */
  #headBeyond(direction) {
    const beyond = this.#rowBeyond(direction);
    return beyond && headOf(beyond);
  }

  /** @param {Direction} direction @returns {HTMLElement | undefined} */
  #rowBeyond(direction) {
    return this.rows[this.#place.rung + (direction === "down" ? 1 : -1)];
  }
}

/**
 * Return an element or an output of a row, or null.
 * @param {HTMLElement} row
 * @param {string} kind  "path" or "output"
 * @param {string} name
 */
export function stopIn(row, kind, name) {
  return find(row, `[data-${kind}="${name}"]`, SVGElement);
}

/** @param {HTMLElement} row */
const headOf = (row) => query(row, ".rung-head", HTMLElement);

/** @param {HTMLElement | undefined} row */
const stopsIn = (row) => (row ? queryAll(row, "[data-path], [data-output]", SVGElement) : []);

/* Whether the keys go into a field now: a move that was asked for before must not take them away. */
const isTyping = () => Boolean(document.activeElement?.closest("#entry:not([hidden]), dialog[open]"));

/**
 * @param {Part} stop
 * @returns {Place}
 */
function placeOf(stop) {
  const row = closest(stop, ".rung-row", HTMLElement);
  const rung = Number(row?.id.slice("rung-".length));
  if (stop.dataset.path !== undefined) return { rung, at: `path ${stop.dataset.path}` };
  if (stop.dataset.output !== undefined) return { rung, at: `output ${stop.dataset.output}` };
  return { rung, at: "" };
}

/**
 * Return the stop that lies nearest in a direction; going straight counts more than being close.
 * @param {Part} from
 * @param {Part[]} stops
 * @param {Direction} direction
 */
function nearest(from, stops, direction) {
  const [x, y] = centerOf(from);
  /** @type {Part | null} */
  let best = null;
  let least = Infinity;
  for (const stop of stops) {
    if (stop === from) continue;
    const [sx, sy] = centerOf(stop);
    const along = { right: sx - x, left: x - sx, down: sy - y, up: y - sy }[direction];
    const aside = direction === "left" || direction === "right" ? Math.abs(sy - y) : Math.abs(sx - x);
    if (along < 6) continue;
    const cost = along + 3 * aside;
    if (cost < least) {
      least = cost;
      best = stop;
    }
  }
  return best;
}

/** @param {Part} stop */
function centerOf(stop) {
  const box = (stop.querySelector(".cell") || stop).getBoundingClientRect();
  // The number of a rung is as high as the rung; its power line runs near the top.
  const y = stop.matches(".rung-head") ? box.top + 40 : box.top + box.height / 2;
  return [box.left + box.width / 2, y];
}
