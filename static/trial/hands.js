// What a hand does: press and hold, switch over, set a level, lay an item down, clear the belt.
// While the plant is held, a press stays until the next one, so that single scans can be run on it.

export function takeHands(root, act, isHeld) {
  const press = (button, on) => {
    if (button.disabled) return;
    const pressed = button.dataset.pressed === "yes";
    if (on && pressed) on = false;
    else if (!on && (!pressed || isHeld())) return;
    button.dataset.pressed = on ? "yes" : "";
    act({ control: button.dataset.control, on });
  };

  for (const button of root.querySelectorAll("[data-control]")) {
    if ("held" in button.dataset) holdable(button, (on) => press(button, on));
    else button.addEventListener("click", () => act({ control: button.dataset.control, on: button.getAttribute("aria-checked") !== "true" }));
  }
  for (const group of root.querySelectorAll('[data-kind="hand"]')) {
    const button = root.querySelector(`button[data-control="${group.dataset.signal}"]`);
    if (!button) continue;
    if ("held" in button.dataset) holdable(group, (on) => press(button, on));
    else group.addEventListener("click", () => button.click());
  }

  const measure = (form, name) => Number(new FormData(form).get(name));
  const commits = {
    adjust: (form) => ({ quantity: form.dataset.adjust, value: measure(form, "value") / Number(form.dataset.scale) }),
    place: (form) => ({ belt: form.dataset.place, position: measure(form, "position"), marked: new FormData(form).has("marked") }),
    clear: (form) => ({ belt: form.dataset.clear, first: measure(form, "first"), last: measure(form, "last") }),
  };
  for (const [kind, action] of Object.entries(commits)) {
    for (const form of root.querySelectorAll(`[data-${kind}]`)) {
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        act(action(form));
      });
    }
  }
}

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

// The controls tell how they stand.
export function showHands(changed, values) {
  for (const key of changed) {
    for (const button of document.querySelectorAll(`button[data-control="${CSS.escape(key)}"]`)) {
      const on = values.get(key) === 1;
      if ("held" in button.dataset && !button.matches(":active")) button.dataset.pressed = on ? "yes" : "";
      button.setAttribute("held" in button.dataset ? "aria-pressed" : "aria-checked", on);
      const state = button.querySelector(".hand-state");
      if (state) state.textContent = on ? state.dataset.on : state.dataset.off;
    }
  }
}
