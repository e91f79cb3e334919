// The timing chart: points as steps, quantities as thin curves, marks of the open checks below.

/** @import { Values } from "/static/trial/plant.js" */

const SVG = "http://www.w3.org/2000/svg";
const WIDTH = 760, NAMES = 168, RIGHT = 12, TOP = 14, BIT = 28, CURVE = 52, MARKS = 24, AXIS = 30;
const KEPT_SECONDS = 130;
/** @type {Record<MarkKind, string>} */
const SIGNS = { asked: "▹", held: "✓", violated: "✕" };

/**
 * A scan and the value from it on.
 * @typedef {[number, number]} Change
 */
/**
 * A scan and a quantity's value after it, null where it has none.
 * @typedef {[number, number | null]} Sample
 */
/** @typedef {"asked" | "held" | "violated"} MarkKind */
/**
 * A scan, the number of the check and what was seen of it.
 * @typedef {[number, number, MarkKind][]} Marks
 */
/**
 * A scan, the number of the point and its value from then on.
 * @typedef {[number, number, number][]} Changes
 */
/**
 * What the chart shows: names of points and quantities, the requirement of each check, units.
 * @typedef {object} ChartLayout
 * @property {string[]} points
 * @property {string[]} quantities
 * @property {string[]} checks
 * @property {Record<string, string>} units
 */
/**
 * The last minutes; a sample is a scan and the value of each quantity.
 * @typedef {{ changes: Changes, marks: Marks, samples: number[][] }} ChartRecord
 */
/** @typedef {{ name: string, changes: Change[], top: number, trace: SVGElement }} Lane */
/**
 * @typedef {object} Curve
 * @property {string} name
 * @property {string} unit
 * @property {Sample[]} samples
 * @property {number} top
 * @property {SVGElement} trace
 * @property {SVGElement} high
 * @property {SVGElement} low
 */
/** @typedef {(scan: number) => string} ScaleX */

/**
 * @param {string} name
 * @param {Record<string, string | number>} attributes
 * @param {string} text
 */
const make = (name, attributes = {}, text = "") => {
  const part = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) part.setAttribute(key, String(value));
  if (text) part.textContent = text;
  return part;
};

/**
 * @param {string} name
 * @returns {Lane}
 */
const newLane = (name) => ({ name, changes: [], top: 0, trace: make("path", { class: "trace" }) });

/**
 * @param {string} name
 * @param {string} unit
 * @returns {Curve}
 */
const newCurve = (name, unit) => {
  const limit = () => make("text", { class: "scale", x: NAMES - 8, "text-anchor": "end" });
  return { name, unit, samples: [], top: 0, trace: make("path", { class: "trace" }), high: limit(), low: limit() };
};

export class Chart {
  #svg;
  #period;
  #span = 15;
  /** @type {Lane[]} */
  #lanes = [];
  /** @type {Curve[]} */
  #curves = [];
  /** @type {string[]} */
  #checks = [];
  /** @type {number[]} */
  #takeovers = [];
  /** @type {Marks} */
  #marks = [];
  /**
   * Where the marks of each requirement stand.
   * @type {Map<string, { row: SVGElement, top: number }>}
   */
  #rows = new Map();
  #floor = 0;
  #scale = make("g", { class: "axis" });
  #line = make("path", { class: "now" });
  #changed = make("g", { class: "takeover" });
  #now = 0;
  /** @type {number | null} */
  #looking = null;
  #waiting = false;

  /**
   * @param {SVGSVGElement} svg
   * @param {number} period  ms from scan to scan
   * @param {(scan: number) => void} pick  gets the scan that was clicked
   */
  constructor(svg, period, pick) {
    this.#svg = svg;
    this.#period = period;
    svg.addEventListener("click", (event) => {
      const x = ((event.clientX - svg.getBoundingClientRect().left) / svg.clientWidth) * WIDTH;
      if (x > NAMES) pick(Math.max(0, Math.round(this.#first + ((x - NAMES) / (WIDTH - NAMES - RIGHT)) * this.#scans)));
    });
  }

  get #scans() {
    return (this.#span * 1000) / this.#period;
  }

  get #first() {
    const end = this.#looking !== null && this.#looking < this.#now - this.#scans ? this.#looking + this.#scans / 2 : Math.max(this.#now, this.#scans);
    return end - this.#scans;
  }

  /** @param {number} seconds  how many the chart shows */
  set span(seconds) {
    this.#span = seconds;
    this.#plan();
  }

  /** @param {number[]} scans  before which another version of the program took over */
  set takeovers(scans) {
    this.#takeovers = scans;
    this.#plan();
  }

  /** @param {ChartLayout} layout */
  lay({ points, quantities, checks, units }) {
    const names = this.#lanes.map((lane) => lane.name).join();
    if (names !== points.join() || this.#curves.map((c) => c.name).join() !== quantities.join()) {
      this.#lanes = points.map(newLane);
      this.#curves = quantities.map((name) => newCurve(name, units[name] ?? ""));
    }
    this.#checks = checks;
    this.#build();
  }

  /** @param {ChartRecord} record */
  fill({ changes, marks, samples }) {
    for (const lane of this.#lanes) lane.changes = [];
    for (const [index, curve] of this.#curves.entries()) {
      curve.samples = samples.map((row) => [row[0], row[index + 1]]);
    }
    this.#marks = [];
    this.add(changes, marks);
  }

  /** @param {Changes} changes @param {Marks} marks */
  add(changes = [], marks = []) {
    for (const [scan, lane, value] of changes) this.#lanes[lane].changes.push([scan, value]);
    this.#marks.push(...marks);
  }

  /**
   * Show the present scan, or the past one that is looked at.
   * @param {number} scan
   * @param {number | null} looking
   * @param {Values} values  the quantities as they are now
   */
  at(scan, looking, values) {
    if (looking === null && scan > this.#now) {
      for (const curve of this.#curves) curve.samples.push([scan, values.get(curve.name) ?? null]);
      this.#forget(scan - (KEPT_SECONDS * 1000) / this.#period);
    }
    this.#now = scan;
    this.#looking = looking;
    this.#plan();
  }

  /** @param {number} before  a scan */
  #forget(before) {
    for (const lane of this.#lanes) while (lane.changes.length > 1 && lane.changes[1][0] < before) lane.changes.shift();
    for (const curve of this.#curves) while (curve.samples.length > 1 && curve.samples[1][0] < before) curve.samples.shift();
    while (this.#marks.length && this.#marks[0][0] < before) this.#marks.shift();
  }

  #plan() {
    if (this.#waiting) return;
    this.#waiting = true;
    requestAnimationFrame(() => {
      this.#waiting = false;
      this.#draw();
    });
  }

  // Everything that stays: names, rules, empty traces.
  #build() {
    let y = TOP;
    this.#svg.replaceChildren();
    /** @param {"bit" | "quantity" | "check"} kind @param {string} name @param {number} height */
    const lane = (kind, name, height) => {
      const group = make("g", { class: `lane ${kind}` });
      group.append(make("path", { class: "rule", d: `M0 ${y + height}H${WIDTH - RIGHT}` }));
      group.append(make("text", { class: "name", x: 0, y: y + height / 2 + 5 }, name.length > 20 ? `${name.slice(0, 19)}…` : name));
      this.#svg.append(group);
      const top = y;
      y += height;
      return { group, top };
    };
    for (const each of this.#lanes) {
      const { group, top } = lane("bit", each.name, BIT);
      each.top = top;
      group.append(each.trace);
    }
    for (const each of this.#curves) {
      const { group, top } = lane("quantity", each.name, CURVE);
      each.top = top;
      each.high.setAttribute("y", String(top + 14));
      each.low.setAttribute("y", String(top + CURVE - 6));
      group.append(each.trace, each.high, each.low);
    }
    this.#rows = new Map();
    for (const requirement of new Set(this.#checks)) {
      const { group, top } = lane("check", requirement, MARKS);
      const row = make("g", { class: "check-marks" });
      group.append(row);
      this.#rows.set(requirement, { row, top });
    }
    this.#floor = y;
    this.#svg.append(this.#scale, this.#changed, this.#line);
    this.#svg.setAttribute("viewBox", `0 0 ${WIDTH} ${y + AXIS}`);
    this.#plan();
  }

  #draw() {
    const first = this.#first, scans = this.#scans, room = WIDTH - NAMES - RIGHT;
    const end = Math.min(this.#now, first + scans);
    /** @type {ScaleX} */
    const x = (scan) => (NAMES + (Math.min(Math.max(scan - first, 0), scans) / scans) * room).toFixed(1);
    for (const lane of this.#lanes) {
      let value = 0, path = "";
      for (const [scan, next] of lane.changes) {
        if (scan <= first) value = next;
        else if (scan <= end) {
          if (!path) path = `M${x(first)} ${lane.top + (value ? 7 : BIT - 6)}`;
          path += `H${x(scan)}V${lane.top + (next ? 7 : BIT - 6)}`;
          value = next;
        }
      }
      if (!path) path = `M${x(first)} ${lane.top + (value ? 7 : BIT - 6)}`;
      lane.trace.setAttribute("d", end > first ? `${path}H${x(end)}` : "");
    }
    for (const curve of this.#curves) this.#curve(curve, first, end, x);
    for (const [requirement, { row, top }] of this.#rows) {
      const marks = this.#marks.filter(([scan, check]) => this.#checks[check] === requirement && scan >= first && scan <= end);
      row.replaceChildren(...marks.map(([scan, , what]) => make("text", { class: what, x: x(scan), y: top + 17, "text-anchor": what === "asked" ? "end" : "start" }, SIGNS[what])));
    }
    this.#axis(first, scans, x);
    this.#changed.replaceChildren(
      ...this.#takeovers
        .filter((scan) => scan >= first && scan <= end)
        .flatMap((scan) => [make("path", { d: `M${x(scan)} ${TOP}V${this.#floor}` }), make("text", { x: x(scan), y: TOP - 3, "text-anchor": "middle" }, "program changed")]),
    );
    this.#line.setAttribute("d", `M${x(this.#looking ?? this.#now)} ${TOP - 8}V${this.#floor}`);
  }

  /** @param {Curve} curve @param {number} first @param {number} end @param {ScaleX} x */
  #curve(curve, first, end, x) {
    /** @type {Change[]} */
    const inside = [];
    for (const [i, [scan, value]] of curve.samples.entries()) {
      const next = curve.samples[i + 1]?.[0] ?? 0;
      if (value !== null && scan <= end && (scan >= first || next >= first)) inside.push([scan, value]);
    }
    const values = inside.map(([, value]) => value);
    const high = Math.max(...values), low = Math.min(...values), span = high - low || 1;
    /** @param {number} value */
    const y = (value) => (curve.top + CURVE - 8 - ((value - low) / span) * (CURVE - 16)).toFixed(1);
    curve.trace.setAttribute("d", inside.length ? `M${inside.map(([scan, value]) => `${x(scan)} ${y(value)}`).join("L")}` : "");
    /** @param {number} value */
    const format = (value) => `${Number(value.toPrecision(4))}${curve.unit && ` ${curve.unit}`}`;
    curve.high.textContent = values.length && high > low ? format(high) : "";
    curve.low.textContent = values.length ? format(low) : "";
  }

  /** @param {number} first @param {number} scans @param {ScaleX} x */
  #axis(first, scans, x) {
    const step = [0.5, 1, 2, 5, 10, 20].find((each) => this.#span / each <= 12) ?? 20;
    const perSecond = 1000 / this.#period;
    const ticks = [];
    for (let t = Math.ceil(first / perSecond / step) * step; t * perSecond <= first + scans; t += step) ticks.push(t);
    const path = ticks.map((t) => `M${x(t * perSecond)} ${this.#floor}v5`).join("");
    this.#scale.replaceChildren(
      make("path", { d: `M${NAMES} ${this.#floor}H${WIDTH - RIGHT}${path}` }),
      ...ticks.map((t) => make("text", { x: x(t * perSecond), y: this.#floor + 20, "text-anchor": "middle" }, String(Number(t.toFixed(1))))),
      make("text", { x: 0, y: this.#floor + 20 }, "s"),
    );
  }
}
