// A run on the sheet: one socket, and what it says shown in the plant, the rungs and the chart.
//
// The owner's run begins with the first thing that is done to it, not with the page. It has the
// program that the sheet shows, as soon as that has no errors.

import { byId } from "/static/dom.js";
import { Chart } from "/static/trial/chart.js";
import { noteEvents } from "/static/trial/events.js";
import { openLeaf } from "/static/trial/leaves.js";
import { Link } from "/static/trial/link.js";
import { bindManualControls, showManualControls } from "/static/trial/manual_controls.js";
import { showPlant } from "/static/trial/plant.js";
import { bindRecords, showRecords } from "/static/trial/records.js";
import { layChecks, showChecks } from "/static/trial/requirements.js";
import { bindRungs, layRungs, showElement, showRungs } from "/static/trial/rungs.js";
import { laySignals, showDemonstration, showReasons, showSignals } from "/static/trial/signals.js";
import { bindTime, showTime } from "/static/trial/time.js";
/** @import { Answer, Command, Frame, Layout, Refusal, Standing } from "/static/trial/link.js" */
/** @import { Values } from "/static/trial/plant.js" */
/** @import { RunState } from "/static/trial/time.js" */

const root = byId("lab", HTMLElement);
const period = Number(root.dataset.period);
const works = root.dataset.works === "yes";
const span = byId("span", HTMLSelectElement);
const CHANGES_REST_MS = 150;

/** @type {Values} */
const values = new Map();
/** @type {string[]} */
let keys = [];
/** @type {Layout} */
let layout;
/** @type {RunState} */
let state = { running: false, speed: 1, looking: null, repeating: null, showing: false, watched: 0 };
let scan = 0;
/** @type {Link | null} */
let link = null;
/**
 * What is asked for until the run is there; null from then on.
 * @type {Command[] | null}
 */
let early = [];
/** @type {"no" | "yes" | "asked"} */
let behind = "no";

/**
 * Show a sentence as a notice, or hide the notice.
 * @param {"refusal" | "connection" | "behind"} id
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

/** Begin the run, or go on with the one that is recorded. */
function connect() {
  link ??= new Link(root.dataset.socket ?? "", {
    frame,
    standing: (standing, reason) => {
      say("connection", reason || STANDINGS[standing]);
      if (standing !== "open" || !works) return;
      behind = "yes";
      link?.send({ do: "saved" });
    },
  });
  return link;
}

/** @param {Command} command */
function send(command) {
  say("refusal", null);
  const open = connect();
  if (!early) return open.send(command);
  early.push(command);
  return true;
}

/* What was asked for goes to the run once it stands where its record ends. */
function sendEarly() {
  if (!early || state.repeating !== null) return;
  const commands = early;
  early = null;
  takeOver();
  for (const command of commands) link?.send(command);
}

/**
 * Ask why a signal is so; of a block, why its first output is.
 * @param {string} signal
 */
export function askWhy(signal) {
  const output = keys.find((key) => key.startsWith(`v:${signal.toLowerCase()}.q`));
  send({ do: "why", signal: output ? `${signal}.${output.split(".")[1].toUpperCase()}` : signal });
}
const ask = works ? askWhy : null;
/** @param {number} moment */
const look = (moment) => send({ do: "look", scan: moment });

const timing = byId("timing", SVGSVGElement);
const chart = new Chart(timing, period, (moment) => works && look(moment));
span.addEventListener("change", () => (chart.span = Number(span.value)));

// -- the program on the sheet and the one that runs ----------------------------------------------

let resting = 0;

/** Let the run have what was changed on the sheet, once no change follows at once. */
export function programChanged() {
  if (!link) return;
  bindRungs();
  showRungs(values.keys(), values);
  behind = "yes";
  clearTimeout(resting);
  resting = setTimeout(takeOver, CHANGES_REST_MS);
}

/* A past moment is looked at with the program that it had; the change waits for the present. */
function takeOver() {
  if (behind !== "yes" || early || state.looking !== null || state.repeating !== null || state.showing) return;
  if (link?.send({ do: "exchange" })) behind = "asked";
}

/** @param {string | null} fault  why the run keeps the version that it has */
function tookOver(fault) {
  if (behind === "asked") behind = "no";
  say("behind", fault && `The plant keeps the last program that can run. ${fault}`);
}

// -- what the server says --------------------------------------------------------------------------

/** @param {Answer} answer */
function show(answer) {
  if ("refused" in answer) say("refusal", answer.refused);
  else if ("why" in answer) showReasons(answer, period, look, goTo);
  else if ("seen" in answer) showDemonstration(answer, period, look, goTo);
  else if ("behind" in answer) tookOver(answer.behind);
  else showRecords(answer);
}

/** @param {number} rung @param {string | null} path */
function goTo(rung, path) {
  openLeaf(byId("program", HTMLElement));
  showElement(rung, path);
}

/** @param {Frame | Refusal} news */
function frame(news) {
  if ("refused" in news) return show(news);
  if (news.layout) {
    layout = news.layout;
    keys = layout.keys;
    layRungs(news.layout.texts, news.layout.rungs);
    chart.lay(news.layout);
    laySignals(news.layout, ask);
    layChecks(news.layout.checks);
  }
  if (news.chart) chart.fill(news.chart);
  if (news.takeovers) chart.takeovers = news.takeovers;
  chart.add(news.changes, news.marks);
  noteEvents(news, layout, period);
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
  showChecks(changed, values);
  showTime({ scan, state, period }, works);
  chart.at(scan, state.looking, values);
  for (const each of news.answers ?? []) show(each);
  if (news.state) sendEarly();
  takeOver();
}

/* A verdict leads here: its address names the attempt and the requirement that it breaks. */
function seeItHappen() {
  const asked = new URLSearchParams(location.search);
  const submission = Number(asked.get("see"));
  if (!submission) return;
  send({ do: "see", submission, name: asked.get("requirement") ?? "" });
  byId("standing", HTMLElement).textContent = "looking for a run that shows it";
  // A reload goes on with the run, and does not begin it again.
  history.replaceState(null, "", location.pathname + location.hash);
}

/* A narrow sheet opens the plant as a leaf, and old addresses lead to it. */
function connectAtPlant() {
  if (["#plant", "#chart"].includes(location.hash)) connect();
}

if (works) {
  bindManualControls(root, (action) => send({ do: "act", action }), () => !state.running);
  bindTime(root, send, () => ({ scan, state, period }));
  bindRecords(send);
  connectAtPlant();
  seeItHappen();
  window.addEventListener("hashchange", connectAtPlant);
} else {
  connect();
}
