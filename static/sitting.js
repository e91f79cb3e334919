/* The time that is left of a sitting in a supervised lab: counted here, corrected by the server. */
import { byId } from "/static/dom.js";

/* Minutes at which the time is read aloud; in between it would only interrupt. */
const MARKS = [1, 2, 5, 10, 15, 30, 60];
const ASK_EVERY_MS = 15000;

const shown = byId("time-left", HTMLElement);
const said = byId("time-said", HTMLElement);
const door = shown.dataset.address ?? "/";
let ends = performance.now() + Number(shown.dataset.seconds) * 1000;
let before = Math.ceil(left() / 60);
let connected = true;

/** Return the seconds that are left. */
function left() {
  return Math.max(0, Math.round((ends - performance.now()) / 1000));
}

/** @param {number} seconds */
function words(seconds) {
  if (seconds < 120) return `${seconds} s left`;
  const minutes = Math.ceil(seconds / 60);
  return minutes < 120 ? `${minutes} min left` : `${Math.floor(minutes / 60)} h ${minutes % 60} min left`;
}

function show() {
  const seconds = left();
  if (seconds === 0) return location.assign(door);
  const minutes = Math.ceil(seconds / 60);
  const lost = connected ? "" : " · no connection, your time goes on";
  shown.textContent = words(seconds) + lost;
  shown.classList.toggle("soon", seconds <= 300);
  const passed = MARKS.find((mark) => minutes <= mark && mark < before);
  if (passed !== undefined) said.textContent = `${passed} ${passed === 1 ? "minute" : "minutes"} left`;
  else if (minutes > before + 1) said.textContent = `You have more time: ${minutes} minutes left`;
  before = minutes;
}

async function ask() {
  try {
    const answer = await fetch(`${door}/time`, { redirect: "manual" });
    // Led elsewhere: the sitting is over, or goes on in another browser. The door says which.
    if (answer.type === "opaqueredirect") return location.assign(door);
    if (answer.ok) ends = performance.now() + (await answer.json()).seconds * 1000;
    if (!connected) said.textContent = "Connected again";
    connected = true;
  } catch {
    if (connected) said.textContent = "No connection. Your time goes on; what was saved is kept.";
    connected = false;
  }
  show();
}

setInterval(show, 1000);
setInterval(ask, ASK_EVERY_MS);
