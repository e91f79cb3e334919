// Tells the platform's page, around this frame or before this window, that registration has ended.
import { query } from "/static/dom.js";

const { registered = "" } = query(document, "[data-registered]", HTMLElement).dataset;
/** @type {Window} */
const platform = window.opener ?? window.parent;
platform.postMessage({ subject: "org.imsglobal.lti.close" }, registered);
