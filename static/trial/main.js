// The trial run's page: one socket, and what it says shown in the plant, the rungs and the chart.

import { byId, query, queryAll } from "/static/dom.js";
import { Chart } from "/static/trial/chart.js";
import { Link } from "/static/trial/link.js";
import { bindManualControls, showManualControls } from "/static/trial/manual_controls.js";
import { showPlant } from "/static/trial/plant.js";
import { bindRecords, showRecords } from "/static/trial/records.js";
import { layRungs, showRungs } from "/static/trial/rungs.js";
import { laySignals, showReasons, showSignals } from "/static/trial/signals.js";
import { bindTime, showTime } from "/static/trial/time.js";
/** @import { Answer, Command, Frame, Refusal, Standing } from "/static/trial/link.js" */
/** @import { Values } from "/static/trial/plant.js" */
/** @import { RunState } from "/static/trial/time.js" */

const root = byId("trial", HTMLElement);
const period = Number(root.dataset.period);
const works = root.dataset.works === "yes";
const span = byId("span", HTMLSelectElement);

/** @type {Values} */
const values = new Map();
/** @type {string[]} */
let keys = [];
/** @type {RunState} */
let state = { running: false, speed: 1, looking: null, repeating: null, watched: 0 };
let scan = 0;

/**
 * Show a sentence as a notice, or hide the notice.
 * @param {"refusal" | "connection"} id
 * @param {string | null} sentence
 */
const say = (id, sentence) => {
  const notice = byId(id, HTMLElement);
  notice.textContent = sentence ?? "";
  notice.hidden = !sentence;
};

/** @type {Record<Standing, string | null>} */
const STANDINGS = {
  open: null,
  lost: "The connection is lost. The plant goes on; this page tries to come back to it.",
  restarting: "The server is being restarted. Your run is stored; this page goes on with it by itself.",
  ended: "This run can't be shown now. Reload the page to try again.",
};

/** @param {Command} command */
const send = (command) => {
  say("refusal", null);
  return link.send(command);
};
/** @param {string} signal */
const askWhy = (signal) => send({ do: "why", signal });
const ask = works ? askWhy : null;
/** @param {number} moment */
const look = (moment) => send({ do: "look", scan: moment });

const timing = byId("timing", SVGSVGElement);
const chart = new Chart(timing, period, (moment) => works && look(moment));
span.addEventListener("change", () => (chart.span = Number(span.value)));

/** @param {Answer} answer */
function show(answer) {
  if ("refused" in answer) say("refusal", answer.refused);
  else if ("why" in answer) showReasons(answer, period, look);
  else if ("newer" in answer) showVersions(answer);
  else showRecords(answer);
}

/** @param {{ newer: boolean, faults: string[] }} answer  faults of the newer version */
function showVersions({ newer, faults }) {
  byId("newer", HTMLElement).hidden = !newer || faults.length > 0;
  if (newer && faults.length) say("refusal", `Your changed program can't run yet. ${faults[0]}`);
}

/** @param {Frame | Refusal} news */
function frame(news) {
  if ("refused" in news) return show(news);
  if (news.layout) {
    keys = news.layout.keys;
    layRungs(news.layout.rungs, ask);
    chart.lay(news.layout);
    laySignals(news.layout, ask);
    layChecks(news.layout.checks);
  }
  if (news.chart) chart.fill(news.chart);
  chart.add(news.changes, news.marks);
  /** @type {string[]} */
  const changed = [];
  for (const [index, value] of news.values ?? []) {
    values.set(keys[index], value);
    changed.push(keys[index]);
  }
  state = news.state ?? state;
  scan = news.scan;
  showPlant(changed, values);
  showRungs(changed, values);
  showManualControls(changed, values);
  showSignals(changed, values);
  showChecks(changed);
  showTime({ scan, state, period }, works);
  chart.at(scan, state.looking, values);
  for (const each of news.answers ?? []) show(each);
}

// -- requirements of the open scenarios: not tried, held so far, violated ------------------------

/**
 * The requirement of each check.
 * @type {string[]}
 */
let checks = [];

/** @param {string[]} requirements */
function layChecks(requirements) {
  checks = requirements;
  byId("checks", HTMLElement).replaceChildren(
    ...[...new Set(requirements)].map((requirement) => {
      const item = document.createElement("li");
      item.dataset.requirement = requirement;
      item.innerHTML = '<span class="mono"></span> <span class="status"><span class="sign" aria-hidden="true"></span><span class="word"></span></span>';
      query(item, ".mono", HTMLElement).textContent = requirement;
      return item;
    }),
  );
}

/** @param {string[]} changed */
function showChecks(changed) {
  if (!changed.some((key) => key.startsWith("c:"))) return;
  for (const item of queryAll(byId("checks", HTMLElement), "li", HTMLElement)) {
    const numbers = checks.flatMap((requirement, i) => (requirement === item.dataset.requirement ? [i] : []));
    /** @param {"violated" | "exercised"} what */
    const all = (what) => numbers.map((i) => values.get(`c:${i}:${what}`) === 1);
    const [kind, word] = all("violated").includes(true)
      ? ["not-met", "violated"]
      : !all("exercised").includes(true)
        ? ["not-exercised", "not tried yet"]
        : all("exercised").includes(false)
          ? ["not-exercised", "tried in part"]
          : ["met", "held so far"];
    query(item, ".status", HTMLElement).className = `status ${kind}`;
    query(item, ".word", HTMLElement).textContent = word;
  }
}

const link = new Link(root.dataset.socket ?? "", {
  frame,
  standing: (standing, reason) => {
    say("connection", reason || STANDINGS[standing]);
    if (standing === "open" && works) {
      link.send({ do: "program" });
      link.send({ do: "saved" });
    }
  },
});

if (works) {
  bindManualControls(root, (action) => send({ do: "act", action }), () => !state.running);
  bindTime(root, send, () => ({ scan, state, period }));
  bindRecords(send);
  window.addEventListener("focus", () => link.send({ do: "program" }));
}
