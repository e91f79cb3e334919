// Time: run, hold, one scan, speed, the slider back, and going on from a past moment.

import { byId, queryAll } from "/static/dom.js";
/** @import { Send } from "/static/trial/link.js" */

/**
 * How a run stands: `looking` is the past scan that is shown, `repeating` the scan up to which a
 * record is being repeated, `watched` how many people watch.
 * @typedef {object} RunState
 * @property {boolean} running
 * @property {number} speed
 * @property {number | null} looking
 * @property {number | null} repeating
 * @property {boolean} showing  whether actions of a record are still to come
 * @property {number} watched
 */
/** @typedef {{ scan: number, state: RunState, period: number }} Now */

const FRAME_MS = 50;
const slider = () => byId("moment", HTMLInputElement);
const speeds = () => byId("speed", HTMLSelectElement);

/**
 * Return the time after a scan, in seconds.
 * @param {number} scan
 * @param {number} period  ms from scan to scan
 */
export const formatTime = (scan, period) => `${((scan * period) / 1000).toFixed(2)} s`;

/**
 * Let the controls of time send their commands.
 * @param {HTMLElement} root
 * @param {Send} send
 * @param {() => Now} now
 */
export function bindTime(root, send, now) {
  /** @type {number | null} */
  let wanted = null;
  /** @param {number} scan */
  const look = (scan) => {
    // A drag moves more often than frames come back; the newest wish wins.
    if (wanted === null) {
      setTimeout(() => {
        send({ do: "look", scan: wanted });
        wanted = null;
      }, FRAME_MS);
    }
    wanted = scan;
  };
  for (const button of queryAll(root, "[data-do]", HTMLButtonElement)) {
    button.addEventListener("click", () => {
      const { scan, state } = now();
      const wish = button.dataset.do ?? "";
      if (wish === "now") send({ do: "look", scan });
      else if (wish === "branch") send({ do: "branch", scan: state.looking });
      else send({ do: wish });
    });
  }
  for (const button of queryAll(root, "[data-back]", HTMLButtonElement)) {
    button.addEventListener("click", () => {
      const { scan, state, period } = now();
      const from = state.looking ?? scan;
      look(Math.max(0, from - (Number(button.dataset.back) * 1000) / period));
    });
  }
  slider().addEventListener("input", () => look(Number(slider().value)));
  speeds().addEventListener("change", () => send({ do: "speed", speed: Number(speeds().value) }));
}

/**
 * Show where the run stands, and on its owner's page the controls of time.
 * @param {Now} now
 * @param {boolean} works  whether the page is its owner's
 */
export function showTime(now, works) {
  const { scan, state, period } = now;
  const shown = state.looking ?? scan;
  byId("clock", HTMLElement).textContent = formatTime(shown, period);
  byId("standing", HTMLElement).textContent = standing(now);
  if (!works) return;
  showMoment(now, shown);
  const go = byId("go", HTMLButtonElement);
  const [present, past] = [byId("present", HTMLElement), byId("past", HTMLElement)];
  const focused = past.contains(document.activeElement);
  past.hidden = state.looking === null;
  present.hidden = !past.hidden;
  // The focus must not fall out of the bar with the button that had it.
  if (past.hidden && focused) go.focus({ preventScroll: true });
  go.dataset.do = state.running ? "hold" : "run";
  go.textContent = state.running ? "Hold" : "Run";
  const speed = speeds();
  if (document.activeElement !== speed) speed.value = [...speed.options].find((each) => Number(each.value) === state.speed)?.value ?? speed.value;
  for (const control of queryAll(document, ".manual-controls :is(button, input)", HTMLButtonElement, HTMLInputElement)) {
    control.disabled = state.looking !== null;
  }
}

/** @param {Now} now @param {number} shown */
function showMoment({ scan, state, period }, shown) {
  const moment = slider();
  moment.max = String(scan);
  if (document.activeElement !== moment || state.looking === null) moment.value = String(shown);
  moment.setAttribute("aria-valuetext", formatTime(shown, period));
}

/** @param {Now} now */
function standing({ scan, state, period }) {
  if (state.repeating !== null) return `repeating the record up to ${formatTime(state.repeating, period)}`;
  if (state.looking !== null) return `past moment; now is ${formatTime(scan, period)}`;
  const watched = state.watched ? ", watched" : "";
  return (state.running ? "running" : "held") + watched;
}
