// The run told as a log: what came on, what went off, how requirements fared; for eyes and ears.

import { byId } from "/static/dom.js";
import { formatTime } from "/static/trial/time.js";
/** @import { ChartLayout, Changes, MarkKind, Marks } from "/static/trial/chart.js" */

const log = byId("events", HTMLElement);
const told = byId("events-told", HTMLSelectElement);
const EVERY_MS = 1000;
const MOST_LINES = 100;
/** @type {Record<MarkKind, string>} */
const WORDS = { asked: "is asked for", held: "held", violated: "violated" };

/**
 * What happened since the last message, by scan.
 * @type {Map<number, string[]>}
 */
const waiting = new Map();
let timer = 0;
/**
 * The points that are on; the first scan tells all points, and those that are off are no news.
 * @type {Set<number>}
 */
const on = new Set();

/**
 * Take what is new in a frame. At most one message a second is put into the log.
 * @param {{ changes?: Changes, marks?: Marks }} news
 * @param {ChartLayout} layout
 * @param {number} period  ms from scan to scan
 */
export function noteEvents({ changes = [], marks = [] }, { points, checks }, period) {
  for (const [scan, point, value] of changes) {
    const news = value ? !on.has(point) : on.has(point);
    if (value) on.add(point);
    else on.delete(point);
    if (news && told.value === "signals") note(scan, `${points[point]} ${value ? "ON" : "OFF"}`);
  }
  if (told.value !== "nothing") for (const [scan, check, what] of marks) note(scan, `${checks[check]} ${WORDS[what]}`);
  if (waiting.size && !timer) timer = setTimeout(() => tell(period), EVERY_MS);
}

/** @param {number} scan @param {string} words */
function note(scan, words) {
  const same = waiting.get(scan) ?? [];
  if (!same.includes(words)) waiting.set(scan, [...same, words]);
}

/** @param {number} period */
function tell(period) {
  timer = 0;
  const moments = [...waiting].map(([scan, words]) => `${formatTime(scan + 1, period)} ${words.join(", ")}`);
  waiting.clear();
  log.append(Object.assign(document.createElement("p"), { textContent: moments.join("; ") }));
  while (log.children.length > MOST_LINES) log.firstElementChild?.remove();
  log.scrollTop = log.scrollHeight;
}
