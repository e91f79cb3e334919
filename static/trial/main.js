// The trial run's page: one socket, and what it says shown in the plant, the rungs and the chart.

import { Chart } from "./chart.js";
import { showHands, takeHands } from "./hands.js";
import { Link } from "./link.js";
import { showPlant } from "./plant.js";
import { showRecords, takeRecords } from "./records.js";
import { layRungs, showRungs } from "./rungs.js";
import { laySignals, showReasons, showSignals } from "./signals.js";
import { showTime, takeTime } from "./time.js";

const root = document.getElementById("trial");
const period = Number(root.dataset.period);
const works = root.dataset.works === "yes";
const find = (id) => document.getElementById(id);

const values = new Map();
let keys = [];
let state = { running: false, looking: null };
let scan = 0;

const say = (notice, sentence) => {
  notice.textContent = sentence ?? "";
  notice.hidden = !sentence;
};

const STANDINGS = {
  open: null,
  lost: "The connection is lost. The plant goes on; this page tries to come back to it.",
  restarting: "The server is being restarted. Your run is stored; this page goes on with it by itself.",
  ended: "This run can't be shown now. Reload the page to try again.",
};

const send = (command) => {
  say(find("refusal"));
  return link.send(command);
};
const ask = works ? (signal) => send({ do: "why", signal }) : null;
const look = (moment) => send({ do: "look", scan: moment });

const chart = new Chart(find("timing"), period, (moment) => works && look(moment));
find("span").addEventListener("change", (event) => (chart.span = Number(event.target.value)));

const answers = {
  refused: ({ refused }) => say(find("refusal"), refused),
  why: (answer) => showReasons(answer, period, look),
  newer: ({ newer, faults }) => {
    find("newer").hidden = !newer || faults.length > 0;
    if (newer && faults.length) say(find("refusal"), `Your changed program can't run yet. ${faults[0]}`);
  },
  saved: showRecords,
  scenario: showRecords,
};

function answer(each) {
  for (const [key, show] of Object.entries(answers)) if (key in each) show(each);
}

function frame(news) {
  if ("refused" in news) return answer(news);
  if (news.layout) {
    keys = news.layout.keys;
    layRungs(news.layout.rungs, ask);
    chart.lay(news.layout);
    laySignals(news.layout, ask);
    layChecks(news.layout.checks);
  }
  if (news.chart) chart.fill(news.chart);
  chart.add(news.changes, news.marks);
  const changed = [];
  for (const [index, value] of news.values ?? []) {
    values.set(keys[index], value);
    changed.push(keys[index]);
  }
  state = news.state ?? state;
  scan = news.scan;
  showPlant(changed, values);
  showRungs(changed, values);
  showHands(changed, values);
  showSignals(changed, values);
  showChecks(changed);
  showTime(scan, state, period);
  chart.at(scan, state.looking, values);
  for (const each of news.answers ?? []) answer(each);
}

// -- requirements of the open scenarios: not tried, held so far, violated ------------------------

let checks = [];

function layChecks(requirements) {
  checks = requirements;
  find("checks").replaceChildren(
    ...[...new Set(requirements)].map((requirement) => {
      const item = document.createElement("li");
      item.dataset.requirement = requirement;
      item.innerHTML = '<span class="mono"></span> <span class="status"><span class="sign" aria-hidden="true"></span><span class="word"></span></span>';
      item.querySelector(".mono").textContent = requirement;
      return item;
    }),
  );
}

function showChecks(changed) {
  if (!changed.some((key) => key.startsWith("c:"))) return;
  for (const item of find("checks").children) {
    const numbers = checks.flatMap((requirement, i) => (requirement === item.dataset.requirement ? [i] : []));
    const all = (what) => numbers.map((i) => values.get(`c:${i}:${what}`) === 1);
    const [kind, word] = all("violated").includes(true)
      ? ["not-met", "violated"]
      : !all("exercised").includes(true)
        ? ["not-exercised", "not tried yet"]
        : all("exercised").includes(false)
          ? ["not-exercised", "tried in part"]
          : ["met", "held so far"];
    item.querySelector(".status").className = `status ${kind}`;
    item.querySelector(".word").textContent = word;
  }
}

const link = new Link(root.dataset.socket, {
  frame,
  standing: (standing, reason) => {
    say(find("connection"), reason || STANDINGS[standing]);
    if (standing === "open" && works) {
      link.send({ do: "program" });
      link.send({ do: "saved" });
    }
  },
});

if (works) {
  takeHands(root, (action) => send({ do: "act", action }), () => !state.running);
  takeTime(root, send, () => ({ scan, state, period }));
  takeRecords(send);
  window.addEventListener("focus", () => link.send({ do: "program" }));
}
