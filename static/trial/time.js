// Time: run, hold, one scan, speed, the slider back, and going on from a past moment.

const FRAME_MS = 50;
const find = (id) => document.getElementById(id);
const told = (scan, period) => `${((scan * period) / 1000).toFixed(2)} s`;

export function takeTime(root, send, now) {
  let wanted = null;
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
  for (const button of root.querySelectorAll("[data-do]")) {
    button.addEventListener("click", () => {
      const { scan, state } = now();
      const wish = button.dataset.do;
      if (wish === "now") send({ do: "look", scan });
      else if (wish === "branch") send({ do: "branch", scan: state.looking });
      else send({ do: wish });
    });
  }
  for (const button of root.querySelectorAll("[data-back]")) {
    button.addEventListener("click", () => {
      const { scan, state, period } = now();
      const from = state.looking ?? scan;
      look(Math.max(0, from - (button.dataset.back * 1000) / period));
    });
  }
  find("moment").addEventListener("input", (event) => look(Number(event.target.value)));
  find("speed").addEventListener("change", (event) => send({ do: "speed", speed: Number(event.target.value) }));
}

export function showTime(scan, state, period) {
  const shown = state.looking ?? scan;
  find("clock").textContent = told(shown, period);
  find("standing").textContent = standing(scan, state, period);
  const slider = find("moment");
  if (!slider) return;
  slider.max = scan;
  if (document.activeElement !== slider || state.looking === null) slider.value = shown;
  slider.setAttribute("aria-valuetext", told(shown, period));
  find("past").hidden = state.looking === null;
  const go = find("go");
  go.dataset.do = state.running ? "hold" : "run";
  go.textContent = state.running ? "Hold" : "Run";
  const speed = find("speed");
  if (document.activeElement !== speed) speed.value = [...speed.options].find((each) => Number(each.value) === state.speed)?.value ?? speed.value;
  for (const hand of document.querySelectorAll(".hands :is(button, input)")) hand.disabled = state.looking !== null;
}

function standing(scan, state, period) {
  if (state.repeating) return `repeating the record up to ${told(state.repeating, period)}`;
  if (state.looking !== null) return `past moment; now is ${told(scan, period)}`;
  const watched = state.watched ? ", watched" : "";
  return (state.running ? "running" : "held") + watched;
}
