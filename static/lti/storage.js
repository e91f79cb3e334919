/* The storage that a learning-management system keeps for tools in its frames: one question to its
   window, and its answer (LTI postMessage Storage 0.1; names from published uses, rules from
   memory). */

/* The page has another way meanwhile; a slow platform may still answer. */
const PATIENCE_MS = 60_000;
const REPEAT_MS = 300;

/**
 * Ask the platform's window, and return its answer. Reject if it refuses or says nothing in time.
 * The question is repeated until then: the frame that stores may be loaded after this one.
 * @param {HTMLElement} part names the platform's frame and origin, and the key
 * @param {"lti.put_data" | "lti.get_data"} subject
 * @param {{ value?: string }} more
 * @returns {Promise<{ value?: unknown }>}
 */
export function askPlatform(part, subject, more = {}) {
  const { target = "", origin = "", key = "" } = part.dataset;
  const message = { subject, key, message_id: crypto.randomUUID(), ...more };
  return new Promise((resolve, reject) => {
    const end = new AbortController();
    window.addEventListener(
      "message",
      (event) => {
        const { data } = event;
        const answers = data?.subject === `${subject}.response` && data.message_id === message.message_id;
        if (event.origin !== origin || !answers) return;
        end.abort();
        if (data.error) reject(new Error("The platform refuses to store."));
        else resolve(data);
      },
      { signal: end.signal },
    );
    const ask = () => windowOf(target).postMessage(message, origin);
    ask();
    const repeated = setInterval(ask, REPEAT_MS);
    const patience = setTimeout(() => {
      end.abort();
      reject(new Error("The platform does not answer."));
    }, PATIENCE_MS);
    end.signal.addEventListener("abort", () => {
      clearInterval(repeated);
      clearTimeout(patience);
    });
  });
}

/**
 * The window that stores: the platform's page around this frame, or another frame in it.
 * @param {string} target
 * @returns {Window}
 */
function windowOf(target) {
  const named = target === "_parent" ? undefined : /** @type {any} */ (window.parent.frames)[target];
  return named ?? window.parent;
}
