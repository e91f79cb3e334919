// Has the platform keep the state of this sign-in, then goes on to it; the page has another way.
import { query } from "/static/dom.js";
import { askPlatform } from "/static/lti/storage.js";

const part = query(document, "[data-keep-state]", HTMLElement);
askPlatform(part, "lti.put_data", { value: part.dataset.value }).then(
  () => location.replace(part.dataset.onward ?? ""),
  () => undefined,
);
