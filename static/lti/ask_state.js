// Asks the platform for the state that this browser began with, and comes in with it.
import { query } from "/static/dom.js";
import { askPlatform } from "/static/lti/storage.js";

const form = query(document, "[data-ask-state]", HTMLFormElement);
askPlatform(form, "lti.get_data").then(
  ({ value }) => {
    query(form, "[name=state]", HTMLInputElement).value = String(value);
    form.requestSubmit();
  },
  () => undefined,
);
