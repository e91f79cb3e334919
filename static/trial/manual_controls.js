// Manual controls: press and hold, switch over, set a level, lay an item down, clear the belt.
// While the plant is held, a press stays until the next one, so that single scans can be run on it.

import { find, queryAll } from "/static/dom.js";
/** @import { Values } from "/static/trial/plant.js" */

/**
 * What can be done to a plant: the actions of server/marking/trial/trial_form.py.
 * @typedef {{ control: string, on: boolean }
 *   | { quantity: string, value: number }
 *   | { belt: string, position: number, marked: boolean }
 *   | { belt: string, first: number, last: number }} ManualAction
 */

/**
 * Let the controls and forms of a page act.
 * @param {HTMLElement} root
 * @param {(action: ManualAction) => void} act
 * @param {() => boolean} isHeld  whether the plant is held
 */
export function bindManualControls(root, act, isHeld) {
  /** @param {HTMLButtonElement} button @param {boolean} on */
  const press = (button, on) => {
    // What comes from the server meanwhile may be older than the press.
    button.toggleAttribute("data-holding", on);
    if (button.disabled) return;
    const pressed = button.dataset.pressed === "yes";
    if (on && pressed) on = false;
    else if (!on && (!pressed || isHeld())) return;
    button.dataset.pressed = on ? "yes" : "";
    act({ control: nameOf(button), on });
  };

  for (const button of queryAll(root, "[data-control]", HTMLButtonElement)) {
    if ("held" in button.dataset) holdable(button, (on) => press(button, on));
    else button.addEventListener("click", () => act({ control: nameOf(button), on: button.getAttribute("aria-checked") !== "true" }));
  }
  for (const group of queryAll(root, '[data-kind="hand"]', SVGElement)) {
    const button = find(root, `button[data-control="${group.dataset.signal}"]`, HTMLButtonElement);
    if (!button) continue;
    if ("held" in button.dataset) holdable(group, (on) => press(button, on));
    else group.addEventListener("click", () => button.click());
  }

  for (const [kind, action] of Object.entries(COMMITS)) {
    for (const form of queryAll(root, `[data-${kind}]`, HTMLFormElement)) {
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        act(action(form.dataset[kind] ?? "", new FormData(form), form));
      });
    }
  }
}

/** @param {HTMLElement} button */
const nameOf = (button) => button.dataset.control ?? "";

/** @param {FormData} data @param {string} name */
const measure = (data, name) => Number(data.get(name));

/**
 * What each kind of form does to what its `data-` attribute of that kind names.
 * @type {Record<string, (name: string, data: FormData, form: HTMLFormElement) => ManualAction>}
 */
const COMMITS = {
  adjust: (quantity, data, form) => ({ quantity, value: measure(data, "value") / Number(form.dataset.scale) }),
  place: (belt, data) => ({ belt, position: measure(data, "position"), marked: data.has("marked") }),
  clear: (belt, data) => ({ belt, first: measure(data, "first"), last: measure(data, "last") }),
};

/**
 * Call `press` when a part is pressed and when it is released, by pointer or key.
 * @param {GlobalEventHandlers & Element} part
 * @param {(on: boolean) => void} press
 */
function holdable(part, press) {
  // A press ends where it began: the drawing and the button of one control may both be there.
  let begun = false;
  const begin = () => {
    begun = true;
    press(true);
  };
  const end = () => {
    if (begun) press(false);
    begun = false;
  };
  part.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    part.setPointerCapture(event.pointerId);
    begin();
  });
  for (const over of ["pointerup", "pointercancel", "lostpointercapture", "blur"]) part.addEventListener(over, end);
  part.addEventListener("contextmenu", (event) => event.preventDefault());
  part.addEventListener("keydown", (event) => {
    if (event.key !== " " && event.key !== "Enter") return;
    event.preventDefault();
    if (!event.repeat) begin();
  });
  part.addEventListener("keyup", (event) => {
    if (event.key === " " || event.key === "Enter") end();
  });
}

/**
 * Show on each changed control whether it is on.
 * @param {string[]} changed
 * @param {Values} values
 */
export function showManualControls(changed, values) {
  for (const key of changed) {
    for (const button of queryAll(document, `button[data-control="${CSS.escape(key)}"]`, HTMLButtonElement)) {
      const on = values.get(key) === 1;
      if ("held" in button.dataset && !button.hasAttribute("data-holding")) button.dataset.pressed = on ? "yes" : "";
      button.setAttribute("held" in button.dataset ? "aria-pressed" : "aria-checked", String(on));
      const state = find(button, ".control-state", HTMLElement);
      if (state) state.textContent = (on ? state.dataset.on : state.dataset.off) ?? "";
    }
  }
}
