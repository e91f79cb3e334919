/* Copy, cut and paste: the system's clipboard carries what is selected as text of the ladder language. */
import { find } from "/static/dom.js";
import { stopIn } from "/static/editor/selection.js";
import { isWaiting, tellSaving } from "/static/editor/sending.js";
/** @import { Path, Selected } from "/static/editor/actions.js" */

/**
 * Return rungs as they are printed, elements joined as in a rung, an output alone.
 * @param {HTMLCollectionOf<HTMLElement>} rows  all rungs
 * @param {Selected} selected
 */
export function selectedText(rows, { rung, path, output, text, span, range }) {
  if (output !== null) return text;
  if (!path) return [...rows].slice(span.first, span.last + 1).map((row) => row.dataset.carried ?? row.dataset.text).join("\n\n");
  const { first, last = first } = range(path);
  const series = first.slice(0, -1);
  const [from, to] = [first.at(-1) ?? 0, last.at(-1) ?? 0];
  const items = Array.from({ length: to - from + 1 }, (_, number) => itemText(rows[rung], [...series, from + number]));
  return items.join(" AND ");
}

/**
 * Return what is drawn at a path, an element or a parallel; nothing beyond the end of a series.
 * @param {HTMLElement} row
 * @param {Path} path
 * @returns {string | undefined}
 */
function itemText(row, path) {
  const element = stopIn(row, "path", path.join("."));
  if (element) return element.dataset.text;
  if (!find(row, `[data-path^="${path.join(".")}."]`, SVGElement)) return undefined;
  const branches = upToNothing((branch) => upToNothing((item) => itemText(row, [...path, branch, item])).join(" AND ") || undefined);
  return `(${branches.join(" OR ")})`;
}

/**
 * Return what there is at 0, 1, 2 and so on, up to the first number at which there is nothing.
 * @param {(number: number) => string | undefined} at
 */
function upToNothing(at) {
  const found = [];
  for (let text = at(0); text !== undefined; text = at(found.length)) found.push(text);
  return found;
}

/* By a command, the browser lets a page at the clipboard over an encrypted connection only. */
const BY_KEYS = "Press Ctrl and C, X or V: here the browser gives commands no clipboard.";

/**
 * Serve the browser's own keys, which reach the clipboard without asking, and return what the
 * commands do.
 * @param {object} editor
 * @param {(event: Event) => boolean} editor.isMeant  whether an event is for the rungs
 * @param {() => string} editor.text  of what is selected
 * @param {() => unknown} editor.remove  takes out what is selected
 * @param {(text: string) => unknown} editor.paste
 */
export function clipboard({ isMeant, text, remove, paste }) {
  for (const kind of /** @type {const} */ (["copy", "cut", "paste"])) {
    document.addEventListener(kind, (event) => {
      const data = event.clipboardData;
      // Words of the page that somebody marked are copied as ever.
      if (!data || !isMeant(event) || !document.getSelection()?.isCollapsed) return;
      event.preventDefault();
      if (kind === "paste") return put(data.getData("text/plain"));
      // What is on its way may change what is selected.
      if (isWaiting()) return tellSaving("Not copied: saving. Press it again.", "advice");
      data.setData("text/plain", text());
      tellSaving(kind === "copy" ? "Copied" : "Cut");
      if (kind === "cut") remove();
    });
  }

  /** @param {string} carried */
  function put(carried) {
    if (carried.trim()) paste(carried);
    else tellSaving("Nothing to paste: the clipboard holds no text", "advice");
  }

  async function copy() {
    if (!navigator.clipboard) {
      tellSaving(BY_KEYS, "advice");
      return false;
    }
    await navigator.clipboard.writeText(text());
    tellSaving("Copied");
    return true;
  }

  return {
    copy,
    cut: () => copy().then((copied) => void (copied && remove())),
    paste: () =>
      navigator.clipboard
        ? navigator.clipboard.readText().then(put, () => tellSaving("The browser keeps the clipboard from this page", "advice"))
        : tellSaving(BY_KEYS, "advice"),
  };
}
