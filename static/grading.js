/* Keys of the page of a submission for whoever grades it, and snippets put into a comment.

   Each key is held with Alt, so that none is typed by accident; what it does stands beside its form. */
import { byId } from "/static/dom.js";

const text = byId("comment-text", HTMLTextAreaElement);
const snippets = document.getElementById("comment-snippet");

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey && event.key === "Enter" && event.target === text) {
    event.preventDefault();
    text.form?.requestSubmit();
  } else if (event.altKey && !event.ctrlKey && !event.metaKey) {
    const target = document.querySelector(`[data-key="${event.code}"]`);
    if (target instanceof HTMLAnchorElement) {
      event.preventDefault();
      target.click();
    } else if (target instanceof HTMLElement) {
      event.preventDefault();
      target.focus();
    }
  }
});

snippets?.addEventListener("change", () => {
  if (!(snippets instanceof HTMLSelectElement) || !snippets.value) return;
  const before = text.value.trimEnd();
  text.value = before ? `${before}\n\n${snippets.value}` : snippets.value;
  snippets.value = "";
  text.focus();
});

// They are told once they work.
byId("grading-keys", HTMLElement).hidden = false;
