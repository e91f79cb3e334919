// The rungs, live: thick wires and beads where power goes, values at their elements.

const list = document.getElementById("rung-list");
let parts = new Map();

function watch(key, part) {
  parts.set(key, [...(parts.get(key) ?? []), part]);
}

const power = (path) => (path === "rail" ? "v:?rail" : `p:${path}`);

// Puts another version's rungs on the page. A click on a contact or a coil asks about its signal;
// without a pointer the table of signals does.
export function layRungs(rungs, ask) {
  parts = new Map();
  list.replaceChildren();
  if (!rungs.length) list.append(Object.assign(document.createElement("p"), { className: "under", textContent: "The program has no rung yet. Work the plant by hand meanwhile." }));
  for (const [number, drawing] of rungs.entries()) {
    const frame = document.createElement("div");
    frame.className = "scroll figure rung-frame";
    frame.id = `rung-${number}`;
    frame.tabIndex = 0;
    frame.setAttribute("role", "region");
    frame.setAttribute("aria-label", `Rung ${number + 1}`);
    frame.innerHTML = drawing;
    list.append(frame);
    frame.addEventListener("click", (event) => {
      const part = event.target.closest(".contact, .coil");
      if (part && ask) ask([...part.querySelectorAll(".name")].map((name) => name.textContent).join(""));
    });
    for (const each of frame.querySelectorAll("[data-path]")) watch(`p:${each.dataset.path}`, each);
    for (const each of frame.querySelectorAll("[data-output]")) watch(`p:${number}:`, each);
    for (const each of frame.querySelectorAll("[data-value]")) watch(`v:${each.dataset.value.toLowerCase()}`, each);
    for (const each of frame.querySelectorAll("[data-wire]")) {
      for (const source of each.dataset.wire.split(" ")) watch(power(source), each);
    }
  }
}

export function showRungs(changed, values) {
  const on = (source) => (source === "rail" ? values.get("power") : values.get(power(source)));
  const keys = changed.includes("power") ? [...changed, "v:?rail"] : changed;
  for (const key of keys) {
    for (const part of parts.get(key) ?? []) {
      if (part.dataset.wire !== undefined) {
        part.classList.toggle("live", part.dataset.wire.split(" ").some((source) => on(source) === 1));
      } else if (part.dataset.value !== undefined) {
        part.textContent = spell(part.dataset.value, values.get(key));
      } else {
        part.classList.toggle("closed", values.get(key) === 1);
      }
    }
  }
}

// A value as it stands beside its element: times in seconds, everything else as it is.
export function spell(name, value) {
  if (value === undefined || value === null) return "";
  return /\.et$/i.test(name) ? `${(value / 1000).toFixed(2)} s` : String(value);
}

// Leads to an element, or to a rung: scrolls there and marks it.
export function leadTo(rung, path) {
  const frame = document.getElementById(`rung-${rung}`);
  if (!frame) return;
  for (const old of list.querySelectorAll(".selected")) old.classList.remove("selected");
  const part = path ? frame.querySelector(`[data-path="${rung}:${path}"]`) : frame.querySelector("[data-output]");
  part?.classList.add("selected");
  frame.scrollIntoView({ block: "center", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
  frame.focus({ preventScroll: true });
}
