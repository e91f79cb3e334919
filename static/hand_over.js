// Sends the page's one form on by itself; its button is there for browsers that run no scripts.
import { query } from "/static/dom.js";

query(document, "form[data-hand-over]", HTMLFormElement).requestSubmit();
